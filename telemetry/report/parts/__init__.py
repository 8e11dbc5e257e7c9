"""The parts that documents are made of."""
