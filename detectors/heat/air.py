"""Channels that are of air, by their names."""

NAMES = ("chamber", "enclosure", "cabinet", "air", "hood")


def is_of_air(channel: str) -> bool:
    """Whether a channel's name says that it is air's: whatever heats it heats slowly, a door that
    opens cools it, and other heaters stand in it."""
    name = channel.lower()
    return any(word in name for word in NAMES)
