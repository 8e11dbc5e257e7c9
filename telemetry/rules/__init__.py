"""Rules that take more than a comparison, by the part they judge: packs, leads."""
