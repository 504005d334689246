"""Supplies, runs and watched outputs as parts that can be at fault."""
