"""The sensor chain beside its readings: what is worked out of it, and each stage's check."""
