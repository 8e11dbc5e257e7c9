"""Seasons of many flights: drawn by two generators, read flight by flight, judged and counted."""
