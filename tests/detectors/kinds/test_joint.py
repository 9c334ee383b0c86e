"""Jumps of several channels at one instant are one event."""

from collections.abc import Sequence

from detectors.engine.watch import Watch
from shared.chain import EXAMPLE
from shared.events import Event
from shared.updates import Update, Value, batch_of
from shared.words import Kind
from tests.detectors.plant import Disturb, Plant, log_of

PLANT = Plant(targets={0.0: 0.0, 20.0: 210.0}, late=0.0)
DIPS = (220.0, 260.0, 300.0)


def dips(times: Sequence[float], for_s: float = 1.0) -> Disturb:
    """Two hundredths less of the reading for a while, as when a supply dips."""
    return lambda t, ohm: ohm * (0.98 if any(0.0 <= t - at < for_s for at in times) else 1.0)


def watched(nozzle: Disturb, bed: Disturb) -> list[Event]:
    """Events of two channels on one host."""
    updates = []
    pairs = zip(log_of(PLANT, 400.0, 1, nozzle), log_of(PLANT, 400.0, 2, bed), strict=True)
    for first, second in pairs:
        values: dict[str, Value] = dict(first.values)
        for key, value in second.values.items():
            if key.startswith("nozzle."):
                values["bed." + key.removeprefix("nozzle.")] = value
        updates.append(Update(first.time_s, values))
    watch = Watch({"nozzle": EXAMPLE, "bed": EXAMPLE})
    watch.feed(batch_of(updates))
    watch.finish()
    return watch.events


def test_a_dip_on_both_channels_is_one_joint_jump() -> None:
    """Three dips within a minute of each other: one event, three times, and nothing beside it."""
    events = watched(dips(DIPS), dips(DIPS))
    (joint,) = [event for event in events if event.absorbed_by is None]
    assert joint.kind is Kind.JOINT_JUMP
    assert joint.channel == "*"
    assert joint.count == len(DIPS)
    assert joint.value == 2.0
    assert joint.end_s is not None
    assert {e.channel for e in events if e.absorbed_by == joint.id} == {"nozzle", "bed"}


def test_jumps_at_different_times_are_not_joint() -> None:
    """A second apart they are two stories."""
    kinds = [e.kind for e in watched(dips(DIPS, 0.5), dips([at + 1.0 for at in DIPS], 0.5))]
    assert Kind.JOINT_JUMP not in kinds
    assert kinds.count(Kind.SPIKE) == 2


def test_a_channel_with_further_jumps_of_its_own_keeps_its_event() -> None:
    """What happens at other times too is not explained by the joint ones."""
    events = watched(dips((*DIPS, 240.0, 280.0)), dips(DIPS))
    found = {(e.kind, e.channel) for e in events if e.absorbed_by is None}
    assert found == {(Kind.JOINT_JUMP, "*"), (Kind.SPIKE, "nozzle")}


def test_one_channel_alone_says_that_it_was_not_judged() -> None:
    """A joint jump needs two channels."""
    watch = Watch({"nozzle": EXAMPLE})
    watch.feed(batch_of(log_of(PLANT, 60.0, 3)))
    assert any(blind.kind is Kind.JOINT_JUMP for blind in watch.not_evaluated())
