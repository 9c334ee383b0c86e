"""Streaming detectors, event life, correlation and diagnosis."""
