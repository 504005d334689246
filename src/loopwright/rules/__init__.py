"""What is wrong: checks as functions from facts to findings, and the rulesets they read."""
