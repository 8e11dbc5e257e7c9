"""How far a voltage falls per ampere: fits, matching of instants, outliers."""
