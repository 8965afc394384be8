"""What if: other plans from the same timing code."""
