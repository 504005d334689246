"""The programme as it is written down: what its words mean, what it reports, what it leaves unwatched, and who walks past what."""
