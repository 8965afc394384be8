"""Attacks on what a user is shown: commands that build hostile input and count what got through."""
