"""Node currents against their counterparts, against themselves, and at rest."""
