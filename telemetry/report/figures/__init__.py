"""Figures: what to draw (no drawing library needed) and how to draw it (matplotlib)."""
