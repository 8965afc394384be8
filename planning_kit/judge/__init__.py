"""What is wrong with a plan: one module a check, a timed plan becomes findings."""
