"""Outside and running late: the plan re-timed from what has happened, and what can still be done about it."""
