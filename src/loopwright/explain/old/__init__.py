"""Old wiring taken over: what readings say of pairs nobody knows."""
