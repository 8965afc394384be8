"""The same work at other egress times."""
