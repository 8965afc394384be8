"""A planner's editing session without any widget: what is typed, what it means, what was there before."""
