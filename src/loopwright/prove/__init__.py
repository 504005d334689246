"""Prove: what must be proved of a system, what each act should report, and what has come of it, matched live.

Nothing here opens a port, reads a clock or keeps a file: events, what was typed, and the moment are handed in. How it is used and what
it does not do stands in docs/prove.md.
"""
