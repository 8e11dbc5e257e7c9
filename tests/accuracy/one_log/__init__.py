"""A matrix of faults and findings over single logs: makers of logs, an oracle, what was told."""
