"""A receiver on the network of a site: TCP and UDP on one port of one address, every message acknowledged once it is safe and never before.

What a frame means is judged by ``signalling``; where events are kept and what enciphers is handed in. Whatever arrives, the memory
is bounded, what is refused is named, and accounts that are known are served.
"""
