"""Documents to HTML, PDF, terminal and JSON."""
