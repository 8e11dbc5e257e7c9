"""The supply: lost, low, near the restart level, restarted; dips across flights."""
