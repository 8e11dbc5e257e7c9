"""Logs on their way into the book: taken in, worked off one batch after the other, asked about."""
