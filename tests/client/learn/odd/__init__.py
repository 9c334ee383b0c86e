"""Strange hosts by hand: each with a dialect that no other here has."""
