"""The smallest changes that start a step earlier."""
