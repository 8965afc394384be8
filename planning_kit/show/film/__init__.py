"""The walk-through as a film: what happens where, finished as data, for a page that only draws it."""
