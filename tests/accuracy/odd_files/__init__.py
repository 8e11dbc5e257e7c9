"""Odd telemetry files over random truth: flights, the ways they are written, how they were read."""
