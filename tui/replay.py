"""A log behind the live screen's interface, with a time cursor.

The screen opens at once: a recording shows its roll-ups and the events that were recorded,
until a thread has judged it all again by the same watch as live. The cursor moves over the
result: events that began later are not shown yet, and causes are those of events so far. A
recording that is still being written is followed until its writer closes it.
"""

import math
import threading
import time
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from detectors.engine.logwatch import LogWatch
from detectors.health import healths_beside, trust_of
from detectors.judged import Found, Judge, Judged, headed, watched
from detectors.judged.noted import noted
from detectors.shelf import Stand
from detectors.trials.counted import KindTrial, trials
from detectors.trials.exposure import Usage
from recordings.cut import starts_of
from recordings.folder import is_being_written
from recordings.logs import Log
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.several import Joined
from shared.chain import Chain
from shared.errors import BadInput
from shared.events import Event, Verdict
from shared.health import ChannelHealth, Trust
from shared.notes import NOTE, Note
from shared.updates import Batch
from shared.words import Act, Gate, Severity
from tui.history import History
from tui.hosttold import HostTold
from tui.outline import outline_of
from tui.snapshot import LinkState, LinkView, PlayView, RecordingView, Snapshot

POLL_S = 0.5
FIRST_LOOKS = 3
"""Snapshots that are taken of a file at a glance before it is judged, …"""
FIRST_LOOK_S = 2.0
"""… unless that takes longer."""
SHOW_EVERY_S = 0.5
"""How often the screen is given what has been found in a file so far."""
MOST_EVENTS = 200
"""With more events than this before the cursor, causes are those of the whole file."""

_NOTHING = Found(events=(), now_s=0.0, span_s=0.0, healths=())
_NO_USAGE = Usage({}, {}, ())
_READING = Judged((), Verdict(severity=Severity.NOTICE, text="reading the file"), Stand())


@dataclass(frozen=True, slots=True)
class _Whole:
    """What has been made of all that was read so far; at first nothing."""

    found: Found = _NOTHING
    usage: Usage = _NO_USAGE
    trials: tuple[KindTrial, ...] = ()
    judged: Judged = _READING
    is_judged: bool = False


class Replay:
    """A `Source` over a recording or a plain log."""

    def __init__(self, log: Log, title: str, chains: Mapping[str, Chain] | None = None) -> None:
        self._log = log
        self._title = title
        self._chains = log.chains if chains is None else chains
        self._watch = LogWatch(self._chains, starts_of(log.meta))
        """Known to the thread alone; others see the whole that it shows."""
        self._whole = _Whole()
        self._shown_own_s = 0.0
        self._judge = Judge(self._chains)
        self._judge_at_cursor = Judge(self._chains)
        self._history = History(keep_s=None)
        self._lock = threading.Lock()
        self._logged: tuple[Note, ...] = log.notes
        self._own_notes: list[Note] = []
        self._is_live = _is_live(log)
        self._heard_own_s = time.monotonic()
        self._recorded: list[Event] = []
        self._channel_names = log.channels
        self._states: list[tuple[float, str]] = []
        self._told = HostTold()
        self._serial = 0
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
            return self._whole.is_judged

    def snapshot(self) -> Snapshot:
        self._looks += 1
        if self._looks >= FIRST_LOOKS:
            self._seen.set()
        with self._lock:
            play = self._play_view()
            cursor, whole = play.cursor_s, self._whole
            host = self._host_at(cursor)
            found = self._found_at(play, host)
            judged = self._judged_at(found, play)
            stand = judged.stand
            state = LinkState.LIVE_FILE if self._is_live else LinkState.FILE
            age_s = time.monotonic() - self._heard_own_s if self._is_live else 0.0
            return Snapshot(
                serial=self._serial,
                title=self._title,
                now_s=cursor,
                link=LinkView(state, play.first_s, age_s, self._trouble),
                host=host,
                recording=RecordingView(str(self._log.path), 0),
                channels=healths_beside(found.healths, found.events, stand.shelved, host, cursor),
                events=found.events,
                acknowledged=stand.acknowledged,
                causes=judged.causes,
                not_evaluated=found.not_evaluated,
                verdict=judged.verdict,
                notes=self._notes(),
                play=play,
                assumed=whole.found.assumed,
                chains=whole.found.chains,
                trials=whole.trials,
                shelved={id_: shelf.until_s for id_, shelf in stand.shelved.items()},
                quiet=stand.quiet(found.events),
            )

    @property
    def chains(self) -> Mapping[str, Chain]:
        return self._chains

    def note(
        self, text: str, time_s: float, kind: str = NOTE, facts: Mapping[str, Any] | None = None
    ) -> str:
        """Into the recording, as by `ohmvigil note`; says so, or why on this screen only."""
        with self._lock:
            self._own_notes.append(Note(time_s, text, kind, dict(facts or {})))
            self._serial += 1
            if kind not in (NOTE, *Act) and self._whole.is_judged:
                self._whole = self._judged_whole(self._whole.found, self._whole.usage)
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
        self._watch.finish()
        self._show(is_read=True)
        with self._lock:
            self._is_live = False

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
            self._show(is_read=True)
            self._wake.wait(POLL_S)

    def _take(self, batch: Batch) -> None:
        self._watch.feed(batch)
        with self._lock:
            self._history.append(batch)
            self._states += self._told.take(batch)
            self._heard_own_s = time.monotonic()
            self._serial += 1
        if not self._whole.is_judged and time.monotonic() - self._shown_own_s >= SHOW_EVERY_S:
            self._show(is_read=False)

    def _show(self, *, is_read: bool) -> None:
        """Let others see what was found; causes once all has been read."""
        found, usage = self._watch.found(), self._watch.usage()
        with self._lock:
            if is_read:
                self._whole = self._judged_whole(found, usage)
            else:
                self._whole = replace(self._whole, found=found, usage=usage)
            self._serial += 1
        self._shown_own_s = time.monotonic()

    def _judged_whole(self, found: Found, usage: Usage) -> _Whole:
        said = noted(self._notes())
        counted = trials([watched(usage, said)])
        return _Whole(found, usage, counted, self._judge.judged(found, said, counted), True)

    def _notes(self) -> tuple[Note, ...]:
        """Those of the file and those written here; what was stored comes back with the file."""
        stored = {(note.time_s, note.kind, note.text) for note in self._logged}
        own = [n for n in self._own_notes if (n.time_s, n.kind, n.text) not in stored]
        return (*self._logged, *own)

    def _events(self) -> Sequence[Event]:
        """Those that were judged here; until then those that the recording holds."""
        whole = self._whole
        return whole.found.events if whole.is_judged or not self._recorded else self._recorded

    # -- as of the cursor --

    def _found_at(self, play: PlayView, host: str) -> Found:
        cursor_s, whole = play.cursor_s, self._whole.found
        events = tuple(
            _as_of(each, cursor_s) for each in self._events() if each.start_s <= cursor_s
        )
        return replace(
            whole,
            events=events,
            now_s=cursor_s,
            span_s=cursor_s - play.first_s,
            healths=tuple(
                self._health_at(health, cursor_s, events, host)
                for health in self._channels_at(cursor_s)
            ),
            chains=whole.chains if cursor_s >= play.last_s else (),
        )

    def _judged_at(self, found: Found, play: PlayView) -> Judged:
        """Causes and verdict as of the cursor, or of the whole file where that says so."""
        whole = self._whole
        if not whole.is_judged and not self._recorded:
            return whole.judged
        is_end = play.cursor_s >= play.last_s
        said = noted(self._notes(), math.inf if is_end else play.cursor_s)
        if whole.is_judged and is_end:
            return self._judge.judged(found, said, whole.trials)
        if len(found.events) <= MOST_EVENTS:
            judged = self._judge_at_cursor.judged(found, said)
            return judged if whole.is_judged else _prefixed("as recorded: ", judged)
        judged = headed(found, said, whole.judged.causes)
        if judged.stand.shelves:
            return judged
        return _prefixed("in the whole file: ", replace(judged, verdict=whole.judged.verdict))

    def _host_at(self, cursor_s: float) -> str:
        index = bisect_right(self._states, cursor_s, key=lambda item: item[0])
        return self._states[index - 1][1] if index else ""

    def _channels_at(self, cursor_s: float) -> list[ChannelHealth]:
        """Channels that were there at the cursor; those of the outline while none was read."""
        spans = self._whole.usage.spans
        return [
            health
            for health in self._whole.found.healths or map(_unread, self._outlined)
            if health.channel not in spans or spans[health.channel][0].start_s <= cursor_s
        ]

    def _health_at(
        self, health: ChannelHealth, cursor_s: float, events: Sequence[Event], host: str
    ) -> ChannelHealth:
        name = health.channel
        trust, since_s, why = trust_of(name, events, host, cursor_s)
        span = self._whole.usage.span_at(name, cursor_s)
        return ChannelHealth(
            channel=name,
            trust=trust,
            since_s=since_s,
            why=why,
            gate=(span and span.gate) or health.gate,
            **{
                quantity: self._history.last(f"{name}.{quantity}", cursor_s)
                for quantity in ("temperature_c", "target_c", "power", "code", "resistance_ohm")
            },
            last_update_s=cursor_s,
        )

    def _play_view(self) -> PlayView:
        first_s, last_s = self._history.span_s
        if math.isnan(first_s):
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


def _prefixed(words: str, judged: Judged) -> Judged:
    verdict = msgspec.structs.replace(judged.verdict, text=f"{words}{judged.verdict.text}")
    return replace(judged, verdict=verdict)


def _as_of(event: Event, cursor_s: float) -> Event:
    """The event as it stood at the cursor: one that ended later was still going on."""
    if event.end_s is not None and event.end_s > cursor_s:
        return msgspec.structs.replace(event, end_s=None)
    return event
