"""Reports: a review becomes one document, and each writer prints that document its own way."""
