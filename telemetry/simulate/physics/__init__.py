"""Packs, leads and servos on a fine grid of time."""
