"""Ways walked and safety tethers along them."""
