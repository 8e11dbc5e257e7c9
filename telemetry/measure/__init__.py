"""What one flight measures: resistances, charge, packs, servos."""
