"""Scenario files: read, validate, hold and save; times and faults. The leftmost room."""
