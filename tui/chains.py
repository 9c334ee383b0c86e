"""Chain facts for a command: from a profile's name or file, or none."""

from collections.abc import Mapping

from client.profile import load_profile
from shared.chain import Chain


def chains_from(profile: str | None) -> Mapping[str, Chain] | None:
    """Chain facts by channel; None when no profile was named."""
    return None if profile is None else load_profile(profile).chains
