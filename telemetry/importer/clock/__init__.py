"""Cells of time to seconds from the first row."""
