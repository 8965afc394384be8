"""What a suit uses and what is left."""
