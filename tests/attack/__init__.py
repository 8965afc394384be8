"""Attacks on the whole package: damaged files, and only faults may come of them."""
