"""Packs at one bus and what holds it: one that another charges, weak ones, a regulator that gives way."""
