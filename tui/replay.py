"""A log behind the live screen's interface, with a time cursor.

The screen opens at once: a recording shows its roll-ups and the events that were recorded,
until a thread has judged it all again by the same watch as live. The cursor moves over the
result: events that began later are not shown yet, and causes are those of events so far. A
recording that is still being written is followed until its writer closes it.
"""

import threading
import time
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from detectors.diagnosis import diagnose, verdict
from detectors.health import trust_of
from detectors.life import Lives, lives
from detectors.trials import KindTrial
from recordings.cut import starts_of
from recordings.folder import is_being_written
from recordings.logs import Log
from recordings.notes import Note as LoggedNote
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.several import Joined
from shared.chain import Chain
from shared.errors import BadInput
from shared.events import Event, RankedCause, Verdict
from shared.health import ChannelHealth, Trust
from shared.updates import Batch
from shared.words import Act, Gate, HostState, Severity
from tui.answers import answers_in
from tui.deeds import channels_beside, deeds_in, loud_verdict, set_aside
from tui.history import History
from tui.outline import outline_of
from tui.repairs import told, trials_of, unprovoked
from tui.snapshot import LinkState, LinkView, Note, PlayView, RecordingView, Snapshot
from tui.stretches import StretchWatch

POLL_S = 0.5
FIRST_LOOKS = 3
"""Snapshots that are taken of a file at a glance before it is judged, …"""
FIRST_LOOK_S = 2.0
"""… unless that takes longer."""
YIELD_S = 0.002
MOST_EVENTS = 200
"""With more events than this before the cursor, causes are those of the whole file."""
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
        self._logged: tuple[LoggedNote, ...] = log.notes
        self._own_notes: list[LoggedNote] = []
        self._is_live = _is_live(log)
        self._heard_own_s = time.monotonic()
        self._recorded: list[Event] = []
        self._channel_names = log.channels
        self._ranked: tuple[tuple[Event, ...], tuple[RankedCause, ...]] = ((), ())
        self._causes: tuple[RankedCause, ...] = ()
        self._trials: tuple[KindTrial, ...] = ()
        self._verdict = Verdict(severity=Severity.NOTICE, text="reading the file")
        self._healths: list[tuple[float, tuple[ChannelHealth, ...]]] = []
        self._states: list[tuple[float, str]] = []
        self._serial = 0
        self._done = False
        self._stopping = False
        self._wake = threading.Event()
        self._seen = threading.Event()
        self._looks = 0
        self._outlined: tuple[str, ...] = ()
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

    @property
    def is_judged(self) -> bool:
        """Whether all that is in the file has been read and judged."""
        with self._lock:
            return self._done

    def snapshot(self) -> Snapshot:
        self._looks += 1
        if self._looks >= FIRST_LOOKS:
            self._seen.set()
        with self._lock:
            play = self._play_view()
            cursor = play.cursor_s
            events = tuple(
                _as_of(event, cursor) for event in self._events() if event.start_s <= cursor
            )
            host = _last_before(self._states, cursor, str(HostState.UP))
            stand = lives(events, deeds_in(self._notes()), cursor)
            causes, found = self._diagnosis(events, play, stand)
            state = LinkState.LIVE_FILE if self._is_live else LinkState.FILE
            age_s = time.monotonic() - self._heard_own_s if self._is_live else 0.0
            notes = [Note(note.time_s, note.text, note.kind, note.facts) for note in self._notes()]
            return Snapshot(
                serial=self._serial,
                title=self._title,
                now_s=cursor,
                link=LinkView(state, play.first_s, age_s, self._trouble),
                host=host,
                recording=RecordingView(str(self._log.path), 0),
                channels=channels_beside(
                    self._channels(cursor, events, host), events, stand, host, cursor
                ),
                events=events,
                acknowledged=stand.acknowledged,
                causes=causes,
                not_evaluated=self._watch.not_evaluated(),
                verdict=found,
                notes=tuple(notes),
                play=play,
                assumed=tuple(self._watch.assumed()),
                chains=self._watch.chain_states(),
                trials=self._trials,
                shelved={id_: shelf.until_s for id_, shelf in stand.shelved.items()},
                quiet=stand.quiet(events) if stand.shelves else frozenset(),
            )

    @property
    def chains(self) -> Mapping[str, Chain]:
        return self._chains

    def note(
        self, text: str, time_s: float, kind: str = "note", facts: Mapping[str, Any] | None = None
    ) -> str:
        """Into the recording, as by `ohmvigil note`; says so, or why on this screen only."""
        with self._lock:
            self._own_notes.append(LoggedNote(time_s, text, kind, dict(facts or {})))
            self._serial += 1
            self._ranked = ((), ())
            is_judged = self._done
        if kind not in ("note", *Act) and is_judged:
            self._judge()
        path = self._file_at(time_s)
        if path is None:
            return "on this screen only: a single recording can hold it"
        try:
            add_note(path, time_s, text, kind, facts)
        except BadInput as bad:
            return f"on this screen only: {bad.what}"
        return f"stored in {path.name}"

    def _file_at(self, time_s: float) -> Path | None:
        """The recording that can hold a note; none for a bundle, a plain log, a later run."""
        log = self._log
        if isinstance(log, Joined):
            return log.file_at(time_s)
        return log.path if type(log) is Recording else None

    def seek(self, time_s: float) -> None:
        with self._lock:
            first_s, last_s = self._history.span_s
            # At the end the cursor goes along with what a writer adds.
            self._cursor_s = None if time_s >= last_s else max(time_s, first_s)
            self._moved_own_s = time.monotonic()
            self._serial += 1

    def play(self, speed: float, paused: bool) -> None:
        with self._lock:
            view = self._play_view()
            self._cursor_s = None if view.cursor_s >= view.last_s else view.cursor_s
            self._moved_own_s = time.monotonic()
            self._speed, self._paused = speed, paused
            self._serial += 1

    def close(self) -> None:
        self._stopping = True
        self._wake.set()
        self._seen.set()
        if self._thread.ident is not None:
            self._thread.join()
        self._log.close()

    # -- the thread --

    def _read(self) -> None:
        try:
            self._glance()
            self._follow()
        except BadInput as error:
            self._trouble = str(error)
        with self._lock:
            self._watch.finish()
            self._is_live = False
        self._judge()

    def _glance(self) -> None:
        """Roll-ups and events as they were recorded, so that there is something to see."""
        if not isinstance(self._log, Recording | Joined):
            return
        recorded: list[Event] = []
        # Damage there is no reason to leave the samples unread.
        with suppress(BadInput):
            recorded = self._log.events()
            self._history.outline(outline_of(self._log))
        with self._lock:
            self._recorded = recorded
            self._outlined = self._channel_names
            self._serial += 1
        # The first picture comes before the work, which slows the screen.
        self._looks = 0
        self._seen.clear()
        self._seen.wait(FIRST_LOOK_S)

    def _follow(self) -> None:
        """Read to the end; of a live file, whatever comes until it is closed."""
        log = self._log
        while not self._stopping:
            # Asked first: what is stored together with the end is read below.
            is_closed = not isinstance(log, Recording | Joined) or log.is_closed
            for batch in log.fresh() if isinstance(log, Recording | Joined) else log.batches():
                if self._stopping:
                    return
                self._take(batch)
            if is_closed and self._is_live and isinstance(log, Joined) and log.grow():
                continue
            if not self._is_live or is_closed:
                return
            with self._lock:
                self._logged = log.notes
            self._judge()
            self._wake.wait(POLL_S)

    def _take(self, batch: Batch) -> None:
        for start in range(0, len(batch), GATES_EVERY_ROWS):
            part = batch.cut(start, start + GATES_EVERY_ROWS)
            with self._lock:
                self._history.append(part)
                self._watch.feed(part)
                for row, word in part.texts.get("host.state", ()):
                    self._states.append((float(part.time_s[row]), word))
                self._healths.append((self._watch.now_s, self._watch.health()))
                self._heard_own_s = time.monotonic()
                self._serial += 1
            # Lets the screen have its turn.
            time.sleep(YIELD_S)

    def _judge(self) -> None:
        """Causes and verdict of all that has been read."""
        with self._lock:
            first_s, last_s = self._history.span_s
            answers, _ = answers_in(self._notes())
            self._trials = trials_of(self._watch.usage(), self._notes())
            tried = told(self._trials, answers)
            own = unprovoked(self._watch.events, self._notes())
            self._causes = diagnose(own, self._chains, answers, tried)
            self._verdict = verdict(
                own,
                self._causes,
                span_s=last_s - first_s,
                channels=len(self._watch.health()),
                not_evaluated=self._watch.not_evaluated(),
                trials=self._trials,
                chains=self._watch.chain_states(),
            )
            self._done = True
            self._serial += 1

    def _notes(self) -> tuple[LoggedNote, ...]:
        """Those of the file and those written here; what was stored comes back with the file."""
        stored = {(note.time_s, note.kind, note.text) for note in self._logged}
        own = [n for n in self._own_notes if (n.time_s, n.kind, n.text) not in stored]
        return (*self._logged, *own)

    def _events(self) -> list[Event]:
        """Those that were judged here; until then those that the recording holds."""
        return self._watch.events if self._done or not self._recorded else self._recorded

    def _diagnosis(
        self, events: tuple[Event, ...], play: PlayView, stand: Lives
    ) -> tuple[tuple[RankedCause, ...], Verdict]:
        """Causes and verdict as of the cursor, with what is shelved then set aside."""
        causes, found = self._found(events, play)
        if not stand.shelves:
            return causes, found
        causes = set_aside(causes, stand.quiet(events))
        found = loud_verdict(
            unprovoked(events, self._notes()),
            causes,
            stand,
            span_s=play.cursor_s - play.first_s,
            channels=len(self._channel_names),
            not_evaluated=self._watch.not_evaluated(),
            trials=self._trials if play.cursor_s >= play.last_s else (),
            chains=self._watch.chain_states() if play.cursor_s >= play.last_s else (),
        )
        return causes, found

    def _found(
        self, events: tuple[Event, ...], play: PlayView
    ) -> tuple[tuple[RankedCause, ...], Verdict]:
        """Causes and verdict as of the cursor, or of the whole file where that says so."""
        if self._done and play.cursor_s >= play.last_s:
            return self._causes, self._verdict
        if not self._done and not self._recorded:
            return self._causes, self._verdict
        if len(events) > MOST_EVENTS:
            words = f"in the whole file: {self._verdict.text}"
            return self._causes, msgspec.structs.replace(self._verdict, text=words)
        if events != self._ranked[0]:
            answers, _ = answers_in([n for n in self._notes() if n.time_s <= play.cursor_s])
            own = unprovoked(events, self._notes())
            self._ranked = (events, diagnose(own, self._chains, answers))
        causes = self._ranked[1]
        found = verdict(
            unprovoked(events, self._notes()),
            causes,
            span_s=play.cursor_s - play.first_s,
            channels=len(self._channel_names),
            not_evaluated=self._watch.not_evaluated(),
        )
        if self._done:
            return causes, found
        return causes, msgspec.structs.replace(found, text=f"as recorded: {found.text}")

    def _channels(
        self, cursor: float, events: Sequence[Event], host: str
    ) -> tuple[ChannelHealth, ...]:
        """Channels as they stood at the cursor."""
        if self._healths:
            healths = _last_before(self._healths, cursor, self._healths[0][1])
        else:
            healths = tuple(map(_unread, self._outlined))
        return tuple(self._channel(health, cursor, events, host) for health in healths)

    def _channel(
        self, health: ChannelHealth, cursor: float, events: Sequence[Event], host: str
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
        starts = tuple(e.start_s for e in self._events() if e.absorbed_by is None)
        return PlayView(min(cursor, last_s), first_s, last_s, self._speed, self._paused, starts)


def _is_live(log: Log) -> bool:
    newest = log.newest if isinstance(log, Joined) else log
    return isinstance(newest, Recording) and is_being_written(newest)


def _unread(channel: str) -> ChannelHealth:
    """A channel of which only an outline is known."""
    return ChannelHealth(
        channel=channel, trust=Trust.UNKNOWN, since_s=0.0, why="", gate=Gate.STARTING
    )


def _as_of(event: Event, cursor_s: float) -> Event:
    """The event as it stood at the cursor: one that ended later was still going on."""
    if event.end_s is not None and event.end_s > cursor_s:
        return msgspec.structs.replace(event, end_s=None)
    return event


def _last_before(stamped: Sequence[tuple[float, _T]], time_s: float, default: _T) -> _T:
    """Newest item stamped at or before a time."""
    index = bisect_right(stamped, time_s, key=lambda item: item[0])
    return stamped[index - 1][1] if index else default
