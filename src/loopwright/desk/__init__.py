"""The desk: somebody is on the line, and what they can safely do and tell leads to an answer or to a visit."""
