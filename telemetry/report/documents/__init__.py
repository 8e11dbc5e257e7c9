"""What is shown, as plain records: of a review, a history, a budget, a list."""
