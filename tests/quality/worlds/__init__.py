"""Worlds: machines, hosts and days drawn from wide ranges, each healthy or with one fault."""
