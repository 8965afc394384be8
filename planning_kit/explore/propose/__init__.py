"""Better orders: the planner's freedom as a model, solved, explained, and timed again by `plan/`."""
