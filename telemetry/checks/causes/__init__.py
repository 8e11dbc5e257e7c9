"""Causes ranked: a declared table fault by sign, and what of it one log shows."""
