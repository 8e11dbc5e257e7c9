"""A log to a review, a book to a history: what the commands and the public functions call."""
