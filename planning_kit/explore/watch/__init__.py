"""A planner following an outing: the plan taken outside, the log, a clock, and what they come to."""
