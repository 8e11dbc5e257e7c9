"""The power path: resistances, charge, sharing, margins."""
