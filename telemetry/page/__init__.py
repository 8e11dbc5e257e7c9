"""The local page: the book in a browser, for people who never open a terminal."""
