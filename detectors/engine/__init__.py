"""A batch in, reports out in the order of the log."""
