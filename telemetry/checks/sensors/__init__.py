"""Sensors: offsets, counters against currents, a gain that moved."""
