"""Signalling: what a control unit sends to a receiving centre over a network, read and written by open standards, without a network.

Frames are those of ANSI/SIA DC-09, what they carry is DC-05 (Contact ID) or DC-03. The paid texts were not at hand: each rule and where
it comes from stands in docs/signalling.md. Nothing here opens a port, reads a clock or draws a random number, and no cipher lives
here: bytes, the moment, random bytes and the cipher are handed in.
"""
