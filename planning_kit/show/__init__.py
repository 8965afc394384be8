"""Charts and pages from finished data."""
