"""Leads and contacts: too much resistance, opening, rising across flights."""
