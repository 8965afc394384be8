"""One module a check: a timed plan becomes findings."""
