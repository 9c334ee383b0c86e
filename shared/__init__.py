"""The words and the physics that every other package may know."""
