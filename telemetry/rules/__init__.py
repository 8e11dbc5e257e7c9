"""Rules by the part they judge: voltage, packs, leads, sensors; and their standing words."""
