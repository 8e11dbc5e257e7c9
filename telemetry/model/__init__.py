"""What every part shares: errors, units, quantities and places, the log, harmless names."""
