"""A host that is in trouble while it is learnt: spikes, and messages that change."""

import json
import random

import pytest

from client.learn import draft_of
from client.learn.gather import Gatherer
from shared.updates import Entry, EntryKind


@pytest.mark.parametrize("key", ["message", "msg", "text"])
@pytest.mark.parametrize("spike_k", [0.0, 800.0])
def test_faults_change_no_unit_and_messages_no_name(key: str, spike_k: float) -> None:
    """One reading in nine is 800 K off, and what the host says changes with every message."""
    gatherer = Gatherer()
    rng = random.Random(4)
    said = ["lead checked", "layer 3 of 40", "open input", "all well"]
    for n in range(120):
        celsius = round(rng.gauss(210.0, 0.3) + (spike_k if n % 9 == 8 else 0.0), 2)
        body = {"t": celsius, "want": 210.0, key: said[n % len(said)]}
        gatherer.feed(Entry(0.1 * n, EntryKind.MESSAGE, json.dumps(body).encode()))
    draft = draft_of(gatherer)
    (channel,) = [one for one in draft.channels if "temperature_c" in one.parts]
    unit = channel.parts["temperature_c"].unit
    assert unit in ("", "celsius")
    assert not draft.sources[0].under
