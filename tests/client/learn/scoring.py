"""How much of a strange host's nozzle a learnt profile reads right."""

import random
from pathlib import Path
from typing import NamedTuple

from client.learn import TextLink, learn, profile_text
from client.mapping import Mapper
from client.profile import load_profile
from shared.updates import Value
from tests.client.learn.strange import StrangeHost
from tests.client.learn.ways import carried

ADDRESSES = {"ws": "ws://[::1]:9", "tcp": "tcp://[::1]:9", "unix": "unix:/nowhere"}
KELVINS = 0.3
POWER = 0.006


class Score(NamedTuple):
    """Whether the best channel's temperature, target and power are those of the nozzle, all
    messages having come whole in the framing that was recognised."""

    temperature: bool
    target: bool
    power: bool
    is_called_nozzle: bool


def learnt(host: StrangeHost, folder: Path) -> Path | None:
    """The profile that `learn --yes` would write; None where its messages did not come whole."""
    entries, cut = carried(host.entries, host.way, random.Random(host.seed))
    sent = [entry.payload for entry in host.entries]
    if [entry.payload for entry in entries] != sent or not (
        cut is None or cut.is_like(host.way.cut)
    ):
        return None
    path = folder / "learnt.toml"
    framing = None if cut is None else cut.framing
    link = TextLink(
        addresses=(ADDRESSES[host.way.scheme],),
        framing=framing,
        delimiter=None if cut is None else cut.delimiter,
    )
    path.write_text(profile_text(learn(entries, host.requests), link), encoding="utf-8")
    return path


def score(host: StrangeHost, folder: Path) -> Score:
    """Replay the host through the profile learnt from it, against what was true."""
    nothing = Score(False, False, False, False)
    path = learnt(host, folder)
    if path is None:
        return nothing
    profile = load_profile(path)
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
    return max(scores, default=nothing)


def _near(value: Value | None, truth: float | None, tolerance: float) -> bool:
    return isinstance(value, float) and truth is not None and abs(value - truth) < tolerance
