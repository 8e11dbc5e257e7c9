"""What is judged, by the part it concerns; in one flight and across flights."""
