"""The weighing: how likely what was seen is under each hypothesis, what follows, and which check is worth doing next."""
