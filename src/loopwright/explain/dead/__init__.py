"""Dead checks: what every pair and supply must read before power comes on."""
