"""Commands that write a report of the book besides reviews and histories."""
