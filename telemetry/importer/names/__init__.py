"""Header cells to readings: words, places, quantities, and what the values say of them."""
