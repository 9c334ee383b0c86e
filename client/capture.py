"""Captured frames on disk: NDJSON, one frame a line, into entries as a reader would give them.

A line is a frame as the host sent it, or an envelope around one:

    {"own_s": 12.25, "frame": {"jsonrpc": "2.0", …}}

`own_s` is when the frame arrived, in seconds of any clock that does not fall; `frame` is
the frame as JSON, or as a text that holds it. Frames without an envelope are stamped with
the host's own clock, which the profile must then name; a frame that has none arrived
with the one before it.
"""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from client import jsonrpc
from client.form import Profile
from client.plan import Origin, Plan, plan_of
from client.pointer import MISSING, walk
from client.values import clock as clock_in
from shared.errors import BadInput
from shared.reading import opened
from shared.text import clean
from shared.updates import Entry, EntryKind, LinkNews

MAX_TIME_S = 1e12
"""No clock is beyond, s."""
MAX_LINE = 4 << 20
"""Longest line read, in bytes."""
RESTART_S = 1.0
"""Own time given to a host clock that falls: it was restarted."""

_FORM = 'write one JSON frame a line, or {"own_s": SECONDS, "frame": FRAME}'


def captured(path: str | Path, profile: Profile) -> Iterator[Entry]:
    """Entries of a capture: the link opens, then every frame. BadInput names file and line."""
    stamps = _Stamps(plan_of(profile), clock_in(profile.clock_unit))
    path = Path(path)
    is_open = False
    for number, line in _lines(path):
        place = f"{clean(str(path), 4096)}:{number}"
        own_s, payload = _frame(line, place)
        if own_s is None:
            own_s = stamps.own_s(payload, place)
        elif own_s < stamps.last_s:
            raise BadInput(place, f"own_s falls from {stamps.last_s:g} to {own_s:g}", "sort it")
        stamps.last_s = own_s
        if not is_open:
            yield Entry(own_s, EntryKind.LINK, msgspec.json.encode(LinkNews(True)))
            is_open = True
        yield Entry(own_s, EntryKind.MESSAGE, payload)


class _Stamps:
    """Own times for frames that came without one, from the host's clock."""

    def __init__(self, plan: Plan, clock_of: Any) -> None:
        self._plan = plan
        self._clock_of = clock_of
        self._host_s: float | None = None
        self.last_s = -math.inf

    def own_s(self, payload: bytes, place: str) -> float:
        host_s = self._host_time(payload)
        if host_s is None:
            if self.last_s == -math.inf and not self._plan.has_clock:
                do = 'name the host\'s clock in the profile, or give {"own_s": …, "frame": …}'
                raise BadInput(place, "says nothing of its time", do)
            return self.last_s if self.last_s > -math.inf else 0.0
        before_s, self._host_s = self._host_s, host_s
        if before_s is None:
            return max(self.last_s, 0.0)
        passed_s = host_s - before_s
        return self.last_s + (passed_s if passed_s >= -RESTART_S else RESTART_S)

    def _host_time(self, payload: bytes) -> float | None:
        try:
            message = jsonrpc.decode(payload)
        except jsonrpc.Refused:
            return None
        parts = message if jsonrpc.is_batch(message) else (message,)
        for part in parts:
            for origin in self._origins(part):
                said = MISSING if origin.clock is None else walk(part, origin.clock)
                found: float | None = None if said is MISSING else self._clock_of(said)
                if found is not None:
                    return found
        return None

    def _origins(self, message: Any) -> Iterator[Origin]:
        if type(message) is dict:
            method, number = message.get("method"), message.get("id")
            if type(method) is str and method in self._plan.methods:
                yield self._plan.methods[method]
            if type(number) is int and number in self._plan.answers:
                yield self._plan.answers[number]
        yield from self._plan.others


def _lines(path: Path) -> Iterator[tuple[int, bytes]]:
    try:
        with opened(path) as file:
            for number, line in enumerate(iter(lambda: file.readline(MAX_LINE), b""), 1):
                if len(line) == MAX_LINE:
                    place = f"{clean(str(path), 4096)}:{number}"
                    raise BadInput(place, f"a line of more than {MAX_LINE} bytes", _FORM)
                if line.strip():
                    yield number, line.strip()
    except OSError as error:
        reason = (error.strerror or "cannot be read").lower()
        raise BadInput(str(path), reason, "check the file") from None


def _frame(line: bytes, place: str) -> tuple[float | None, bytes]:
    """Own time, where there is an envelope, and the frame."""
    try:
        value = msgspec.json.decode(line)
    except (msgspec.DecodeError, ValueError, RecursionError) as error:
        raise BadInput(place, f"is no JSON ({clean(str(error), 80)})", _FORM) from None
    if type(value) is not dict or set(value) != {"own_s", "frame"}:
        return None, line
    own_s, frame = value["own_s"], value["frame"]
    if type(own_s) not in (int, float) or not abs(own_s) <= MAX_TIME_S:
        raise BadInput(place, "own_s is no number", _FORM)
    if type(frame) is str:
        return float(own_s), frame.encode("utf-8", "surrogatepass")
    # The frame as it stands in the line, so that no number is written anew.
    raw = msgspec.json.decode(line, type=_Envelope).frame
    return float(own_s), bytes(raw)


class _Envelope(msgspec.Struct):
    own_s: float
    frame: msgspec.Raw
