"""The power path solved as a circuit: worst cases, margins, budget."""
