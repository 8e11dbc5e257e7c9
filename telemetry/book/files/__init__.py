"""How things lie in the book: files written aside, layout, names, originals, tables."""
