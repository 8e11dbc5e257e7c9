"""Across flights: measures per flight, judging of places against one another and their past."""
