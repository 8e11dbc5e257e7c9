"""Where on the path from pack to node an event came from: the load, a contact, the supply."""
