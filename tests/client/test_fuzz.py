"""The sans-I/O core against anything at all; tests/fuzz goes on for a million messages."""

import json
import random

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from client.form import Request
from client.learn import TextLink, learn, profile_text
from client.learn.series import Series
from client.plan import plan_of
from client.profile import Profile
from shared import toml
from shared.updates import Entry, EntryKind
from tests.fuzz.fuzz_client import mutated
from tests.fuzz.inputs import Core
from tests.levels import first

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=20,
)
ENVELOPED = st.fixed_dictionaries(
    {},
    optional={
        "jsonrpc": st.just("2.0"),
        "id": st.integers(0, 3) | JSON,
        "method": st.sampled_from(["n", "a"]) | JSON,
        "params": JSON,
        "result": JSON,
        "error": JSON,
    },
)


@given(st.lists(st.binary(max_size=300), max_size=5))
@settings(deadline=None)
def test_any_bytes_leave_the_core_whole(runs: list[bytes]) -> None:
    """No exception, no falling time, no key of its own, no unprintable text."""
    core = Core()
    for n, data in enumerate(runs):
        core.take(data, float(n))


@pytest.mark.parametrize("examples", first(1, [12, 100]))
def test_any_json_leaves_the_core_whole(examples: int) -> None:
    """NaN and infinity among it, which are no JSON and are refused."""

    @given(st.lists(JSON | ENVELOPED, max_size=6), st.integers(0, 63))
    @settings(deadline=None, max_examples=examples)
    def holds(messages: list[object], size: int) -> None:
        core = Core()
        wire = b"".join(json.dumps(message).encode() + b"\n" for message in messages)
        core.take(bytes([1, size]) + wire, 1.0)

    holds()


def test_spoilt_messages_leave_the_core_whole() -> None:
    """Ten thousand good messages with bytes changed, doubled or cut; seed 5."""
    core, rng = Core(), random.Random(5)
    for n in range(10_000):
        core.take(mutated(rng), n * 0.01)
    assert core.messages > 3000


@pytest.mark.parametrize("examples", first(1, [15, 150]))
def test_whatever_is_learnt_from_loads_as_a_profile(examples: int) -> None:
    """Names, nesting and values of any kind give TOML that the loader takes."""

    @given(st.lists(JSON | ENVELOPED, max_size=8))
    @settings(
        deadline=None,
        max_examples=examples,
        phases=[Phase.explicit, Phase.reuse, Phase.generate],
        suppress_health_check=[HealthCheck.too_slow],
    )
    def holds(messages: list[object]) -> None:
        entries = [
            Entry(n * 0.25, EntryKind.MESSAGE, json.dumps(message).encode())
            for n, message in enumerate(messages * 3)
        ]
        draft = learn(entries, [Request(json='{"method": "a"}')])
        text = profile_text(draft, TextLink(addresses=("tcp://[::1]:9",)))
        plan_of(toml.loads(text, Profile, "drafted"))

    holds()


def test_the_largest_double_is_no_reading_to_learn_from() -> None:
    """RFC 8259, 6: a host may send any magnitude; sums over such values would not be finite."""
    largest = Series(("a",), [0.0, 1.0], [1.7976931348623157e308, -1e31])
    assert not largest.is_number
    assert Series(("a",), [0.0], [1.8e18]).is_number
