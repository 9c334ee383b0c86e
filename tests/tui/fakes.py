"""A source with made-up data that shows everything the screen can show."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from detectors.judged.noted import noted
from detectors.shelf import stand_at
from shared.chain import EXAMPLE, Chain
from shared.events import Check, Event, NotEvaluated, RankedCause, Verdict
from shared.health import ChannelHealth, Trust
from shared.notes import Note
from shared.updates import Batch, Floats
from shared.words import Cause, Gate, HostState, Kind, Severity
from tui.history import History
from tui.snapshot import LinkState, LinkView, RecordingView, Snapshot

HOSTILE = "[red]x[/red]\x1b]52;c;eA==\x07 said \u202e the host"
OPEN_C = 988.4
NOW_S = 754.5
OPEN_AT_S = 742.0
GAP_S = (600.0, 631.0)


def event(number: int, kind: Kind, start_s: float, end_s: float | None, **more: object) -> Event:
    """An event with plain facts unless told otherwise."""
    facts: dict[str, object] = {
        "channel": "nozzle",
        "severity": Severity.FAILURE,
        "count": 1,
        "value": 1.0,
        "unit": "s",
        "text": f"{kind} of a test",
        "gate": Gate.PRINTING,
        **more,
    }
    return Event(id=number, kind=kind, start_s=start_s, end_s=end_s, **facts)  # type: ignore[arg-type]


def events() -> tuple[Event, ...]:
    return (
        event(
            1,
            Kind.STARTUP_TRANSIENT,
            2.0,
            24.0,
            severity=Severity.NOTICE,
            text="absurd readings after a restart of the controller; they settled by themselves",
        ),
        event(
            2,
            Kind.SPIKE,
            520.0,
            520.0,
            severity=Severity.MAINTENANCE_REQUIRED,
            value=31.5,
            unit="Ω",
            text="one sample 31.5 Ω away from its neighbours; no heat does that",
        ),
        event(
            3,
            Kind.LINK_LOSS,
            GAP_S[0],
            GAP_S[1],
            channel="*",
            severity=Severity.CHECK_FUNCTION,
            value=31.0,
            text=f"the socket closed: {HOSTILE}",
        ),
        event(
            4,
            Kind.CONTACT_BREAK,
            690.0,
            736.0,
            count=14,
            value=210.2,
            unit="Ω",
            text="14 short excursions toward open and back while the carriage moves",
            tied_to="motion.x",
        ),
        event(
            5,
            Kind.CODE_HIGH,
            OPEN_AT_S,
            None,
            value=65535.0,
            unit="codes",
            text="code at its upper limit: the converter sees an open circuit",
        ),
    )


def causes() -> tuple[RankedCause, ...]:
    check = Check(
        name="wiggle-cable",
        do="Move the sensor cable by hand near the connector and along the chain while this "
        "screen runs, one place after another.",
        look_for="A jump in the reading when one place is touched: the break is there.",
        effort_min=3.0,
        caution="Power off, unplug and let it cool before you open anything; mains wiring is "
        "for licensed people.",
    )
    return (
        RankedCause(
            channel="nozzle",
            cause=Cause.LOOSE_CONNECTION,
            probability=0.71,
            evidence_for=("breaks only while the carriage moves", "returns to the same reading"),
            evidence_against=("the last break has lasted 12 s",),
            next_check=check,
        ),
        RankedCause(
            channel="nozzle",
            cause=Cause.BROKEN_LEAD,
            probability=0.22,
            evidence_for=("full open circuit",),
            evidence_against=(),
            next_check=check,
        ),
        RankedCause(
            channel="nozzle",
            cause=None,
            probability=0.07,
            evidence_for=(),
            evidence_against=(),
            next_check=None,
        ),
    )


def batch(until_s: float = NOW_S) -> Batch:
    """A heat-up from 24 °C, a hold at 210 °C, one spike, a gap, breaks and an open circuit."""
    rng = np.random.default_rng(7)
    time_s = np.arange(0.0, until_s + 0.01, 0.25)
    time_s = time_s[(time_s <= GAP_S[0]) | (time_s >= GAP_S[1])]
    count = len(time_s)
    target = np.where(time_s < 420.0, 0.0, 210.0)
    heat = 24.0 + 186.0 * (1.0 - np.exp(-np.maximum(time_s - 420.0, 0.0) / 35.0))
    nozzle: Floats = heat + 0.15 * rng.standard_normal(count)
    nozzle[np.searchsorted(time_s, 520.0)] = 291.0
    for at in np.linspace(690.0, 736.0, 14):
        nozzle[np.searchsorted(time_s, at)] = OPEN_C
    nozzle[time_s >= OPEN_AT_S] = OPEN_C
    bed = 24.0 + 36.0 * (1.0 - np.exp(-np.maximum(time_s - 300.0, 0.0) / 120.0))
    power = np.clip((target - heat) / 20.0 + np.where(target > 0, 0.4, 0.0), 0.0, 1.0)
    # A host that sends only changes: the target comes twice, the chamber seldom.
    rise = int(np.searchsorted(time_s, 420.0))
    target[1:rise] = target[rise + 1 :] = np.nan
    chamber = np.where(np.arange(count) % 40 == 0, 24.0 + time_s / 100.0, np.nan)
    return Batch(
        time_s,
        {
            "nozzle.temperature_c": nozzle,
            "nozzle.target_c": target,
            "nozzle.power": power,
            "bed.temperature_c": bed,
            "bed.target_c": np.where(np.arange(count) == 0, 60.0, np.nan),
            "bed.power": np.full(count, 0.3),
            "chamber.temperature_c": chamber,
            "board.temperature_c": 41.0 + 0.1 * rng.standard_normal(count),
        },
    )


def snapshot() -> Snapshot:
    def health(
        channel: str, trust: Trust, since_s: float, why: str, **more: float
    ) -> ChannelHealth:
        return ChannelHealth(
            channel=channel,
            trust=trust,
            since_s=since_s,
            why=why,
            gate=Gate.PRINTING,
            last_update_s=NOW_S,
            **more,
        )

    found = events()
    return Snapshot(
        serial=1,
        title="demo printer",
        now_s=NOW_S,
        link=LinkView(LinkState.OPEN, 631.0, 0.25),
        host=HostState.UP,
        recording=RecordingView("night.ohmv", 1_240_000),
        channels=(
            health(
                "nozzle",
                Trust.FALSE,
                OPEN_AT_S,
                found[4].text,
                temperature_c=OPEN_C,
                target_c=210.0,
                power=0.41,
                code=65535.0,
                resistance_ohm=402.0,
            ),
            health("bed", Trust.TRUE, 631.0, "", temperature_c=59.1, target_c=60.0, power=0.3),
            health("chamber", Trust.TRUE, 631.0, "", temperature_c=31.5),
            health("board", Trust.DOUBTFUL, 700.0, "flickers", temperature_c=41.0),
        ),
        events=found,
        acknowledged=frozenset({1}),
        causes=causes(),
        not_evaluated=(
            NotEvaluated(kind=Kind.FROZEN, channel="chamber", why="too quiet to tell"),
            NotEvaluated(kind=Kind.NO_RISE, channel="board", why="no power signal"),
        ),
        verdict=Verdict(severity=Severity.FAILURE, text="nozzle: open circuit"),
        notes=(Note(640.0, "pressed the connector home"),),
        assumed=("nozzle: worked out: reference 402 Ω",),
    )


class FakeSource:
    """A `Source` whose every call is remembered; `now` may be replaced at will."""

    def __init__(self, now: Snapshot | None = None) -> None:
        self.now = now or snapshot()
        self.held = History(keep_s=None)
        self.held.append(batch())
        self.calls: list[tuple[object, ...]] = []

    @property
    def history(self) -> History:
        return self.held

    def snapshot(self) -> Snapshot:
        return self.now

    def change(self, **what: object) -> None:
        """Replace fields of the snapshot."""
        self.now = replace(self.now, serial=self.now.serial + 1, **what)  # type: ignore[arg-type]

    @property
    def chains(self) -> Mapping[str, Chain]:
        return {"nozzle": EXAMPLE}

    def note(
        self, text: str, time_s: float, kind: str = "note", facts: Mapping[str, Any] | None = None
    ) -> str:
        more = () if kind == "note" else (kind, dict(facts or {}))
        self.calls.append(("note", text, time_s, *more))
        self.change(notes=(*self.now.notes, Note(time_s, text, kind, dict(facts or {}))))
        stand = stand_at(self.now.events, noted(self.now.notes).deeds, self.now.now_s)
        self.change(
            acknowledged=self.now.acknowledged | stand.acknowledged,
            shelved={id_: shelf.until_s for id_, shelf in stand.shelved.items()},
            quiet=stand.quiet(self.now.events),
        )
        return ""

    def seek(self, time_s: float) -> None:
        self.calls.append(("seek", time_s))
        if self.now.play is not None:
            self.change(play=replace(self.now.play, cursor_s=time_s), now_s=time_s)

    def play(self, speed: float, paused: bool) -> None:
        self.calls.append(("play", speed, paused))
        if self.now.play is not None:
            self.change(play=replace(self.now.play, speed=speed, paused=paused))

    def close(self) -> None:
        self.calls.append(("close",))
