"""Drawings: an appraisal in, SVG text out, the same for the screen and for paper."""
