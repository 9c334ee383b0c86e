"""The page for a bug report: what was found, why, and pictures of it."""
