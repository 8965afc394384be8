"""Where every item is over time."""
