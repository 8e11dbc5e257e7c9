"""Packs at one bus and what holds it: charged by another, weak, a regulator that gives way."""
