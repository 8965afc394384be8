"""One outing after the other: what is left outside, the next outing, and what is wrong between them."""
