"""Leads: whether their resistance stayed what it was through a flight."""
