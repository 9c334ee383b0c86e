"""One table: rows of updates, windows of 32 rows, and what is learned from them; arrays."""
