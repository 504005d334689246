"""The power craft: supplies, batteries and their discharge, recharging, sizing. Numbers in, numbers out."""
