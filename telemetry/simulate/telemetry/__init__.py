"""What units report of the physics, and the CSV files written from it."""
