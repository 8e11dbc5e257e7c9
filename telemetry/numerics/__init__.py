"""Arrays in, arrays out: the arithmetic of the review, which knows nothing of aircraft."""
