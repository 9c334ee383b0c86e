"""Commands and screens."""
