"""One page to take to the field and to show an inspector: its content, on paper and as HTML."""
