"""Orbit, light and link windows."""
