"""Changes of a scenario: what is changed, in words, and one way to make them."""
