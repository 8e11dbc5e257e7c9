"""Bytes to a table of cells: encoding, dialect, layout, repair."""
