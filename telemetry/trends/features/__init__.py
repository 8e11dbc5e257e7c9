"""Features of one flight, place by place, from its review and the readings of its log."""
