"""How much of a strange host's nozzle a learnt profile reads right."""

from pathlib import Path
from typing import NamedTuple

from client.learn import Link, learn, profile_text
from client.mapping import Mapper
from client.profile import load_profile
from shared.updates import Value
from tests.client.learn.strange import StrangeHost

KELVINS = 0.3
POWER = 0.006


class Score(NamedTuple):
    """Whether the best channel's temperature, target and power are those of the nozzle."""

    temperature: bool
    target: bool
    power: bool
    is_called_nozzle: bool


def learnt(host: StrangeHost, folder: Path) -> Path:
    """The profile that `learn --yes` would write."""
    path = folder / "learnt.toml"
    draft = learn(host.entries, host.requests)
    path.write_text(profile_text(draft, Link(addresses=("unix:/nowhere",))), encoding="utf-8")
    return path


def score(host: StrangeHost, folder: Path) -> Score:
    """Replay the host through the profile learnt from it, against what was true."""
    profile = load_profile(learnt(host, folder))
    mapper = Mapper(profile)
    held: dict[str, Value] = {}
    right = {name: [0, 0, 0] for name in profile.channels}
    for entry, truth in zip(host.entries, host.nozzle, strict=True):
        for update in mapper.feed(entry):
            held.update(update.values)
        for name, counts in right.items():
            counts[0] += _near(held.get(f"{name}.temperature_c"), truth.celsius, KELVINS)
            counts[1] += _near(held.get(f"{name}.target_c"), truth.target, KELVINS)
            counts[2] += _near(held.get(f"{name}.power"), truth.power, POWER)
    # Where each channel has messages of its own, the truth is one message ahead of some.
    enough = (0.7 if host.traits["layout"] == "each" else 0.97) * len(host.entries)
    scores = [
        Score(t >= enough, g >= enough, p >= enough, name == "nozzle")
        for name, (t, g, p) in right.items()
    ]
    return max(scores, default=Score(False, False, False, False))


def _near(value: Value | None, truth: float | None, tolerance: float) -> bool:
    return isinstance(value, float) and truth is not None and abs(value - truth) < tolerance
