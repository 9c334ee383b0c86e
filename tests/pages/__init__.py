"""Pages of docs/ that are made from the code, and the tests that hold them equal."""
