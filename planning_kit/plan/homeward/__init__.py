"""The way back from every minute."""
