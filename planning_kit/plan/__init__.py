"""Routes, timing, slack: a scenario becomes a timed plan."""
