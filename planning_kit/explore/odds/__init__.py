"""How likely: sampled durations, timed by the same code as one plan."""
