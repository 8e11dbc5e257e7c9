"""What all columns of a log together tell of their names: words learned, codes, numbers."""
