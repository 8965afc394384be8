"""What a revision of a scenario changed."""
