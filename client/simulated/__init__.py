"""A printer that does not exist, behind a socket that does: physics, faults and their truth."""
