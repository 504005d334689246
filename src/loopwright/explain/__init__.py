"""Judges what is seen against what should be seen: what is normal now, what is wrong, and where to put the meter next."""
