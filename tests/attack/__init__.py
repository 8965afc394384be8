"""Attacks on purpose: commands that damage, kill, race and soak; a small part of each is a daily test."""
