"""What the book wrote, and every file held against it."""
