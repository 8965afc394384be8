"""What a user holds of a plan, and asks."""
