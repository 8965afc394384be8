"""What others must hold for a plan: inhibits, links, clocks."""
