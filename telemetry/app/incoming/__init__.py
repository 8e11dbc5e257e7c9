"""Logs on their way into the book: whose they are, and many at once."""
