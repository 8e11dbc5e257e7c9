"""Packs: what each gave, how low they were, their paths; ageing across flights."""
