"""Charts, trends and extremes of few values."""
