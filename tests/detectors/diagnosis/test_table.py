"""The cause table is whole: every number has its place, its reason and its bounds."""

import random
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from detectors.diagnosis import diagnose
from detectors.diagnosis.case import Case, cases
from detectors.diagnosis.causes import CHAIN_SIGNS, PRIORS
from detectors.diagnosis.chainfacts import chain_facts
from detectors.diagnosis.evidence import facts_of
from detectors.diagnosis.signs import SIGNS
from detectors.diagnosis.table import CANDIDATES, ChainSign, Weight, blocks
from shared.chain import Chain
from shared.events import Event
from shared.link import How
from shared.words import Cause, Gate, Kind
from tests.detectors.diagnosis.found import event
from tests.levels import some

FACTS = st.dictionaries(
    st.sampled_from(
        [
            "first_reading",
            "full",
            "positive_share",
            "moving",
            "duration_s",
            "delta_ohm",
            "offset_c",
            "offset_ohm",
            "rate_c_s",
            "fell_s",
            "settled_s",
            "channels",
        ]
    ),
    st.floats(allow_nan=True, allow_infinity=True, width=32) | st.floats(-30.0, 30.0),
    max_size=5,
)
FLAGS = st.sampled_from(["", "open", "short", "open;short", "input-out-of-range", "not-connected"])
WORDS = st.sampled_from(
    ["", "too busy", "nozzle reads beyond its limits", "nozzle does not get warmer"]
)
TIED = st.sampled_from([None, "motion", "fan.speed", "motion.x_mm", "nozzle.power"])


@st.composite
def events(draw: st.DrawFn) -> Event:
    kind = draw(st.sampled_from(list(Kind)))
    start_s = draw(st.floats(0.0, 1000.0))
    lasts = draw(st.none() | st.floats(0.0, 100.0))
    facts: dict[str, Any] = draw(FACTS)
    return event(
        kind,
        channel=draw(st.sampled_from(["nozzle", "bed", "*"])),
        start_s=start_s,
        end_s=None if lasts is None else start_s + lasts,
        count=draw(st.integers(1, 40)),
        gate=draw(st.sampled_from([None, *Gate])),
        tied_to=draw(TIED),
        flags=draw(FLAGS),
        message=draw(WORDS),
        **facts,
    )


CHAINS = st.sampled_from(
    [
        Chain(),
        Chain(wires=3),
        Chain(wires=3, strapped_for=2, screened=True, moving=False, capacitance_nf=470.0),
        Chain(wires=4, strapped_for=3, bus="flying", bus_m=0.5, lead_m=2.5),
        Chain(host_reference_ohm=400.0, host_curve="gost-6651"),
    ]
)


@settings(max_examples=some(80), deadline=None)
@given(st.lists(events(), max_size=8), st.none() | CHAINS)
def test_any_events_give_probabilities_that_sum_to_one(
    found: list[Event], chain: Chain | None
) -> None:
    """Whatever detectors say or leave out, each channel's causes are all there and sum to 1."""
    chains = {} if chain is None else {"nozzle": chain}
    for case in cases(found, chains):
        assert all(0.0 <= fact.strength <= 1.0 for fact in facts_of(case))
    causes = diagnose(found, chains)
    for channel in {cause.channel for cause in causes}:
        ranked = [cause for cause in causes if cause.channel == channel]
        assert {cause.cause for cause in ranked} == set(CANDIDATES)
        assert abs(sum(cause.probability for cause in ranked) - 1.0) < 1e-9
        odds = [cause.probability for cause in ranked]
        assert odds == sorted(odds, reverse=True)
        assert ranked[0].next_check is not None


def some_event(rng: random.Random) -> Event:
    """An event with facts that are usual, put together at random."""
    facts: dict[str, Any] = {
        "first_reading": float(rng.random() < 0.3),
        "full": rng.choice([0.0, 0.5, 1.0]),
        "positive_share": rng.choice([0.0, 0.5, 1.0]),
        "moving": rng.choice([0.0, 1.0]),
        "offset_c": rng.uniform(-5.0, 5.0) * rng.choice([1.0, 4.0]),
        "power_excess": rng.choice([-0.3, 0.3]),
        "rate_c_s": rng.uniform(-1.0, 1.0),
        "link_known": rng.choice([0.0, 1.0]),
        "cooling_c_s": rng.choice([-0.2, -0.5]),
        "sized": rng.choice([2.0, 12.0]),
        "size_spread": rng.choice([0.1, 0.8]),
        "channels": rng.choice([2.0, 4.0]),
        "delta_ohm": rng.uniform(-9.0, 9.0),
        "signal": rng.choice([11.0, 390.0, 1090.0]),
        "r0_ohm": 100.0,
    }
    facts |= {"fell_s": 300.0} if facts["rate_c_s"] < -0.5 else {}
    start_s = rng.uniform(0.0, 100.0)
    return event(
        rng.choice(list(Kind)),
        channel=rng.choice(["nozzle", "bed", "*"]),
        start_s=start_s,
        end_s=None if rng.random() < 0.2 else start_s + rng.choice([0.5, rng.uniform(0.0, 100.0)]),
        count=rng.randint(1, 12),
        tied_to=rng.choice([None, "bed.power", "motion", "fan.speed", "motion.x_mm"]),
        flags=rng.choice(["open", "short", "open;short", "input-out-of-range", "not-connected"]),
        value=rng.choice([0.0, 60.0]),
        says="n/a",
        message=rng.choice(["busy", "nozzle beyond its limits", "nozzle does not get warmer"]),
        **facts,
    )


def some_link(rng: random.Random) -> Case:
    """Losses and silences with facts as `detectors.kinds.linkstory` gives them."""
    loss = rng.random() < 0.7
    facts: dict[str, float | str] = {
        "ended": rng.choice(["", *How]) if loss else "",
        "since": rng.choice(["", *How]) if loss else "",
        "link_known": float(rng.random() < 0.5),
        "limit_s": 5.0,
        "late_s": rng.choice([0.0, 0.0, 30.0]),
        "others_of": 2.0,
        "others_lost": rng.choice([0.0, 2.0]),
        "ever_later": rng.choice([0.0, 5.0]),
    }
    for name in ("ran_on", "reopened", "held_s", "answers", "dropped"):
        facts[name] = float(rng.random() < 0.2)
    kind = Kind.LINK_LOSS if loss else Kind.STALE
    end_s = rng.choice([None, 130.0])
    one = event(kind, channel="*", start_s=100.0, end_s=end_s, count=rng.randint(1, 4))
    one = msgspec.structs.replace(one, facts=facts)
    return Case("*", (one,), (), None, 1)


# Fits of an offset to the chain's facts are too rare to be met by chance.
FITS = {name for name in SIGNS if name.startswith("offset-fits-")}


def drawn_in(tries: int) -> set[str]:
    """Signs that are drawn from so many random stories, or until all are."""
    drawn: set[str] = set()
    rng, links = random.Random(1), random.Random(2)
    for _ in range(tries):
        if set(SIGNS) <= drawn | FITS:
            break
        found = [some_event(rng) for _ in range(rng.randint(1, 5))]
        chain = rng.choice([None, Chain(), Chain(wires=3, reference_ohm=4020.0), Chain(wires=4)])
        for case in cases(found, {} if chain is None else {"nozzle": chain}):
            drawn.update(fact.name for fact in facts_of(case))
        drawn.update(fact.name for fact in facts_of(some_link(links)))
    return drawn


def test_signs_that_are_drawn_stand_in_the_table() -> None:
    """Most of its signs within some stories, and none that it does not hold."""
    drawn = drawn_in(1000)
    assert drawn - set(SIGNS) == set()
    assert len(drawn) > 0.9 * len(SIGNS)


@pytest.mark.long
def test_every_sign_of_the_table_can_be_drawn_from_events() -> None:
    """A row that no evidence bears would be dead wood."""
    drawn = drawn_in(40_000)
    assert drawn - set(SIGNS) == set()
    assert set(SIGNS) - drawn - FITS == set()


def test_every_chain_sign_can_be_drawn_from_a_chain() -> None:
    """And none is drawn that the table does not hold."""
    chains = [
        Chain(),
        Chain(wires=3, strapped_for=2, screened=True, moving=False, capacitance_nf=470.0),
        Chain(bus="flying", bus_m=0.5, lead_m=2.5, wires=4),
        Chain(host_reference_ohm=400.0, host_curve="gost-6651"),
    ]
    drawn = {fact.name for chain in chains for fact in chain_facts(chain)}
    assert drawn == set(CHAIN_SIGNS)


def test_every_cause_has_a_prior_and_something_that_speaks_for_it() -> None:
    """All causes of the contract, and the unknown one."""
    assert {prior.cause for prior in PRIORS} == set(CANDIDATES)
    assert all(prior.number > 0.0 and prior.reason for prior in PRIORS)
    for cause in Cause:
        best = max(sign.likelihood(cause) / sign.unknown for sign in SIGNS.values())
        assert best >= 2.0, cause


def test_every_likelihood_is_a_probability_with_a_reason() -> None:
    """Numbers without a reason don't belong in the table."""
    for sign in SIGNS.values():
        rows = [(row.number, row.reason) for row in sign.given]
        assert all(0.0 < value < 1.0 and reason for value, reason in rows), sign.name
        assert 0.0 < sign.otherwise < 1.0, sign.name
        assert 0.0 < sign.unknown < 1.0, sign.name
        named = [row.cause for row in sign.given]
        assert len(named) == len(set(named)), sign.name


def test_a_name_or_a_cause_that_stands_twice_is_refused_by_its_name() -> None:
    """A later row would silently hide the one before."""
    twice = Weight(Cause.SUPPLY, 2.0, "sags")
    with pytest.raises(ValueError, match="'still' stands twice"):
        blocks([ChainSign("still"), twice, ChainSign("still")], ChainSign)
    with pytest.raises(ValueError, match="a cause stands twice under 'still'"):
        blocks([ChainSign("still"), twice, twice], ChainSign)
