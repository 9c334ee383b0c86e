"""A log behind the live screen's interface, with a time cursor.

The whole log is judged first, in a thread, by the same watch as live; the screen opens
at once and shows what has been read so far. The cursor then moves over the result:
events that began later are not shown yet.
"""

import threading
import time
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import TypeVar

import msgspec

from detectors.diagnosis import diagnose, verdict
from detectors.health import trust_of
from recordings.cut import starts_of
from recordings.logs import Log
from shared.chain import Chain
from shared.errors import BadInput
from shared.events import Event, RankedCause, Verdict
from shared.health import ChannelHealth
from shared.words import HostState, Severity
from tui.answers import answers_in
from tui.history import History
from tui.snapshot import LinkState, LinkView, Note, PlayView, RecordingView, Snapshot
from tui.stretches import StretchWatch

GATES_EVERY_ROWS = 256
"""How finely the cursor can tell what a channel was doing."""

_T = TypeVar("_T")


class Replay:
    """A `Source` over a recording or a plain log."""

    def __init__(self, log: Log, title: str, chains: Mapping[str, Chain] | None = None) -> None:
        self._log = log
        self._title = title
        self._chains = log.chains if chains is None else chains
        self._watch = StretchWatch(self._chains, starts_of(log.meta))
        self._history = History(keep_s=None)
        self._lock = threading.Lock()
        self._notes: list[Note] = [Note(note.time_s, note.text) for note in log.notes]
        self._acknowledged: set[int] = set()
        self._causes: tuple[RankedCause, ...] = ()
        self._verdict = Verdict(severity=Severity.NOTICE, text="reading the file")
        self._healths: list[tuple[float, tuple[ChannelHealth, ...]]] = []
        self._states: list[tuple[float, HostState]] = []
        self._serial = 0
        self._done = False
        self._stopping = False
        self._trouble = ""
        self._cursor_s: float | None = None
        self._moved_own_s = time.monotonic()
        self._speed = 1.0
        self._paused = True
        self._thread = threading.Thread(target=self._read, name="replay", daemon=True)

    def start(self) -> None:
        self._thread.start()

    @property
    def history(self) -> History:
        return self._history

    def snapshot(self) -> Snapshot:
        with self._lock:
            play = self._play_view()
            cursor = play.cursor_s
            events = tuple(
                _as_of(event, cursor) for event in self._watch.events if event.start_s <= cursor
            )
            host = _last_before(self._states, cursor, HostState.UP)
            return Snapshot(
                serial=self._serial,
                title=self._title,
                now_s=cursor,
                link=LinkView(LinkState.FILE, play.first_s, 0.0, self._trouble),
                host=host,
                recording=RecordingView(str(self._log.path), 0),
                channels=self._channels(cursor, events, host),
                events=events,
                acknowledged=frozenset(self._acknowledged),
                causes=self._causes,
                not_evaluated=self._watch.not_evaluated(),
                verdict=self._verdict,
                notes=tuple(self._notes),
                play=play,
                assumed=tuple(self._watch.assumed()),
                chains=self._watch.chain_states(),
            )

    def note(self, text: str, time_s: float) -> None:
        with self._lock:
            self._notes.append(Note(time_s, text))
            self._serial += 1

    def acknowledge(self, event_id: int) -> None:
        with self._lock:
            self._acknowledged.add(event_id)
            self._serial += 1

    def seek(self, time_s: float) -> None:
        with self._lock:
            first_s, last_s = self._history.span_s
            self._cursor_s = min(max(time_s, first_s), last_s)
            self._moved_own_s = time.monotonic()
            self._serial += 1

    def play(self, speed: float, paused: bool) -> None:
        with self._lock:
            self._cursor_s = self._play_view().cursor_s
            self._moved_own_s = time.monotonic()
            self._speed, self._paused = speed, paused
            self._serial += 1

    def close(self) -> None:
        self._stopping = True
        self._thread.join()
        self._log.close()

    # -- the thread --

    def _read(self) -> None:
        try:
            for batch in self._log.batches():
                if self._stopping:
                    return
                for start in range(0, len(batch), GATES_EVERY_ROWS):
                    part = batch.cut(start, start + GATES_EVERY_ROWS)
                    with self._lock:
                        self._history.append(part)
                        self._watch.feed(part)
                        for row, word in part.texts.get("host.state", ()):
                            self._states.append((float(part.time_s[row]), HostState(word)))
                        self._healths.append((self._watch.now_s, self._watch.health()))
                        self._serial += 1
        except BadInput as error:
            self._trouble = str(error)
        with self._lock:
            self._watch.finish()
            first_s, last_s = self._history.span_s
            answers, _ = answers_in(self._log.notes)
            self._causes = diagnose(self._watch.events, self._chains, answers)
            self._verdict = verdict(
                self._watch.events,
                self._causes,
                span_s=last_s - first_s,
                channels=len(self._watch.health()),
                not_evaluated=self._watch.not_evaluated(),
            )
            self._done = True
            self._serial += 1

    def _channels(
        self, cursor: float, events: Sequence[Event], host: HostState
    ) -> tuple[ChannelHealth, ...]:
        """Channels as they stood at the cursor."""
        return (
            tuple(
                self._channel(health, cursor, events, host)
                for health in _last_before(self._healths, cursor, self._healths[0][1])
            )
            if self._healths
            else ()
        )

    def _channel(
        self, health: ChannelHealth, cursor: float, events: Sequence[Event], host: HostState
    ) -> ChannelHealth:
        name = health.channel
        trust, since_s, why = trust_of(name, events, host, cursor)
        return ChannelHealth(
            channel=name,
            trust=trust,
            since_s=since_s,
            why=why,
            gate=health.gate,
            **{
                quantity: self._history.last(f"{name}.{quantity}", cursor)
                for quantity in ("temperature_c", "target_c", "power", "code", "resistance_ohm")
            },
            last_update_s=cursor,
        )

    def _play_view(self) -> PlayView:
        first_s, last_s = self._history.span_s
        if first_s != first_s:
            first_s = last_s = 0.0
        cursor = last_s if self._cursor_s is None else self._cursor_s
        if not self._paused:
            cursor += (time.monotonic() - self._moved_own_s) * self._speed
        starts = tuple(e.start_s for e in self._watch.events if e.absorbed_by is None)
        return PlayView(min(cursor, last_s), first_s, last_s, self._speed, self._paused, starts)


def _as_of(event: Event, cursor_s: float) -> Event:
    """The event as it stood at the cursor: one that ended later was still going on."""
    if event.end_s is not None and event.end_s > cursor_s:
        return msgspec.structs.replace(event, end_s=None)
    return event


def _last_before(stamped: Sequence[tuple[float, _T]], time_s: float, default: _T) -> _T:
    """Newest item stamped at or before a time."""
    index = bisect_right(stamped, time_s, key=lambda item: item[0])
    return stamped[index - 1][1] if index else default
