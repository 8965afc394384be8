"""What differs between two plans."""
