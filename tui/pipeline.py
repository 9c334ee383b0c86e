"""The live watch: reader → recorder → detectors → diagnosis, in a thread of its own.

The screen, or the lines, take frozen snapshots and changed events whenever they can;
this thread never waits for them.
"""

import math
import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from client.company import Company
from client.form import Profile
from client.mapping import Mapper
from client.reader import Link, Reader
from detectors.engine.logwatch import LogWatch
from detectors.health import healths_beside
from detectors.judged import Judge, Judged, watched
from detectors.judged.noted import Noted, noted
from detectors.shelf import Stand, stand_at
from detectors.trials.counted import KindTrial, trials
from recordings.rolling import RollingRecorder
from recordings.writer import Recorder
from shared.chain import Chain
from shared.clock import own_time
from shared.errors import BadInput
from shared.events import Event, RankedCause, Verdict
from shared.notes import NOTE, Note
from shared.updates import Entry, EntryKind, Update, batch_of
from shared.when import counted, spelt
from shared.words import Act, Kind, Severity
from tui.history import History
from tui.hosttold import HostTold
from tui.snapshot import LinkState, LinkView, RecordingView, Snapshot

TRIALS_EVERY_S = 5.0
TRIALS_SHARE = 0.05
"""Most of its time that the watch spends on trials: a week of spans takes a while."""
DIAGNOSE_EVERY_S = 0.5
"""Least time between two rankings of causes; events themselves are never held back."""
STORE_S = 2.0
"""Longest that a line waits for a disk."""
TAKE_AT_ONCE = 2000
"""Entries taken in one go, so that a burst is shown in parts."""

_LINK_STATES = {
    Link.CONNECTING: LinkState.CONNECTING,
    Link.OPEN: LinkState.OPEN,
    Link.LOST: LinkState.LOST,
    Link.ENDED: LinkState.ENDED,
}


class Live:
    """Watches one host from `start` to `close`. Safe to call from any thread.

    `recorder` None keeps no recording. `for_s` ends the watch after that much log time;
    `finished` is then set. `waits`: a first connection that fails is tried again. `shows`:
    samples are kept for a chart.
    """

    def __init__(
        self,
        profile: Profile,
        title: str,
        recorder: Recorder | RollingRecorder | None = None,
        for_s: float | None = None,
        *,
        waits: bool = False,
        shows: bool = True,
        company: Company | None = None,
    ) -> None:
        self._title = title
        self._chains: Mapping[str, Chain] = profile.chains
        self._reader = Reader(profile, first_must_work=not waits, company=company)
        self._mapper = Mapper(profile)
        self._watch = LogWatch(self._chains)
        self._history = History()
        self._shows = shows
        self._recorder = recorder
        self._for_s = for_s
        self._lock = threading.Lock()
        self._notes: list[Note] = []
        self._noted = Noted()
        self._judge = Judge(self._chains)
        self._judged = Judged(
            (), Verdict(severity=Severity.NOTICE, text="nothing heard yet"), Stand()
        )
        self._changed: dict[int, Event] = {}
        self._serial = 0
        self._host = HostTold()
        self._heard_own_s = own_time()
        self._messages = 0
        self._is_heard = False
        self._stopping = False
        self._diagnosed_s = 0.0
        self._trials: tuple[KindTrial, ...] = ()
        self._try_at_s = 0.0
        self.finished = threading.Event()
        """Set when the watch has ended: by `for_s`, by the host, or by bad input."""
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)

    def start(self) -> None:
        self._reader.start()
        self._thread.start()

    @property
    def fatal(self) -> BadInput | None:
        """Why the watch ended by itself, if it did."""
        return self._reader.fatal

    @property
    def link_state(self) -> LinkState:
        return _LINK_STATES[self._reader.link.state]

    @property
    def is_heard(self) -> bool:
        """Whether the host has ever said anything; time alone passes on any host."""
        return self._is_heard

    @property
    def has_read(self) -> bool:
        """Whether any channel ever gave a value, or the host said that it is stopped."""
        found = self._watch.found()
        return bool(found.healths) or any(event.kind is Kind.HALT for event in found.events)

    @property
    def held(self) -> str:
        """What the recording holds, in words; empty where nothing is recorded."""
        if self._recorder is None:
            return ""
        with self._lock:
            events = sum(event.absorbed_by is None for event in self._watch.events)
            span_s = self._watch.span_s
        parts = getattr(self._recorder, "parts", 1)
        files = "" if parts == 1 else f"{parts} files, the last "
        trouble = f"; {self._recorder.trouble}" if self._recorder.trouble else ""
        return (
            f"{files}{self._recorder.path} holds {counted(self._messages, 'message')} over "
            f"{spelt(max(span_s, 0.0))}, {counted(events, 'event')}, "
            f"{counted(len(self._notes), 'note')}{trouble}"
        )

    @property
    def unread(self) -> BadInput:
        """What to say and do where nothing was ever read."""
        if not self._is_heard:
            return BadInput(self._title, "the host said nothing", "check that its service runs")
        do = "see which names it sends: `ohmvigil watch HOST --check`, or `ohmvigil learn`"
        return BadInput(self._title, "messages came, and none fits this profile", do)

    @property
    def log_s(self) -> float:
        """Log time of the newest update; NaN before the first."""
        return self._watch.now_s

    @property
    def link_why(self) -> str:
        """Why there is no link, while there is none."""
        return self._reader.link.why

    @property
    def recording(self) -> RecordingView:
        """State of the recording."""
        return self._recording_view()

    def store(self) -> None:
        """Wait until what was taken so far is stored, or could not be; not for long."""
        if self._recorder is not None:
            self._recorder.flush(timeout=STORE_S)

    @property
    def history(self) -> History:
        return self._history

    @property
    def chains(self) -> Mapping[str, Chain]:
        return self._chains

    def take_changes(self) -> list[Event]:
        """Events raised or changed since the last call, as they now stand, by id."""
        with self._lock:
            changed = [self._changed[id_] for id_ in sorted(self._changed)]
            self._changed.clear()
            return changed

    def results(self) -> tuple[list[Event], tuple[RankedCause, ...], Verdict, list[str]]:
        """Events, causes, verdict and assumptions, as of now."""
        with self._lock:
            found = self._watch.found()
            judged = self._judged
            return list(found.events), judged.causes, judged.verdict, list(found.assumed)

    def wait_open(self, timeout_s: float, stop: threading.Event | None = None) -> None:
        """Wait for the link to open or fail, so that bad input is said before a screen opens.

        `stop` ends the wait.
        """
        deadline = time.monotonic() + timeout_s
        while time.monotonic() < deadline and not self.finished.wait(0.05):
            if stop is not None and stop.is_set():
                return
            if self._reader.link.state is not Link.CONNECTING:
                break
        if self._reader.fatal is not None:
            raise self._reader.fatal

    # -- Source --

    def snapshot(self) -> Snapshot:
        link = self._reader.link
        now_own = own_time()
        with self._lock:
            now_s = self._mapper.time_at(now_own)
            since_s = self._mapper.time_at(link.since_own_s)
            age = now_own - self._heard_own_s if self.is_heard else math.nan
            found = self._watch.found()
            stand = stand_at(found.events, self._noted.deeds, self._stand_s())
            return Snapshot(
                serial=self._serial,
                title=self._title,
                now_s=now_s or 0.0,
                link=LinkView(
                    _LINK_STATES[link.state],
                    since_s or 0.0,
                    age,
                    link.why,
                    self._reader.dropped,
                    self.is_heard,
                    now_own - link.since_own_s,
                    link.attempts,
                    None if link.next_own_s is None else max(link.next_own_s - now_own, 0.0),
                ),
                host=self._host.word,
                message=self._host.message,
                recording=self._recording_view(),
                channels=healths_beside(
                    found.healths, found.events, stand.shelved, self._host.word, found.now_s
                ),
                events=found.events,
                acknowledged=stand.acknowledged,
                causes=self._judged.causes,
                not_evaluated=found.not_evaluated,
                verdict=self._judged.verdict,
                notes=tuple(self._notes),
                assumed=found.assumed,
                trials=self._trials,
                chains=found.chains,
                shelved={id_: shelf.until_s for id_, shelf in stand.shelved.items()},
                quiet=stand.quiet(found.events),
            )

    def note(
        self, text: str, time_s: float, kind: str = NOTE, facts: Mapping[str, Any] | None = None
    ) -> str:
        with self._lock:
            self._add(Note(time_s, text, kind, dict(facts or {})))
            if self._recorder is not None:
                self._recorder.note(time_s, text, kind, facts)
            if kind not in (NOTE, *Act):
                self._try_at_s = 0.0
            self._diagnosed_s = 0.0
        if self.finished.is_set():
            self._diagnose_if(True)
        return "" if self._recorder is not None else "nothing is being recorded"

    def learn_of(self, time_s: float, text: str, kind: str, facts: Mapping[str, Any]) -> None:
        """A deed that another program has noted in the recording; one that is known is no news."""
        with self._lock:
            if any((n.time_s, n.kind, n.text) == (time_s, kind, text) for n in self._notes):
                return
            self._add(Note(time_s, text, kind, dict(facts)))
            if isinstance(self._recorder, RollingRecorder):
                self._recorder.take_along(time_s, text, kind, facts)

    def stand(self) -> Stand:
        """What stands now of acknowledging and shelving."""
        with self._lock:
            return stand_at(self._watch.events, self._noted.deeds, self._stand_s())

    def seek(self, time_s: float) -> None:
        """A live watch has no cursor."""

    def play(self, speed: float, paused: bool) -> None:
        """A live watch has no cursor."""

    def close(self) -> None:
        """End the watch and the recording; returns when both are complete."""
        self._stopping = True
        self._reader.stop()
        if self._thread.ident is not None:
            self._thread.join()

    # -- the thread --

    def _run(self) -> None:
        try:
            while not self._stopping and not self.finished.is_set():
                self._reader.wait(0.25)
                entries = self._reader.take(TAKE_AT_ONCE)
                self._take(entries)
                self._diagnose_if(time.monotonic() - self._diagnosed_s >= DIAGNOSE_EVERY_S)
                if not entries and self._reader.link.state is Link.ENDED:
                    break
        finally:
            self._end()

    def _take(self, entries: list[Entry]) -> None:
        """Record, then detect: what cannot be understood is on record all the same.

        What has piled up is detected as one batch, which is many times as fast as one by
        one and gives the same events: a flood delays nothing for long.
        """
        updates: list[Update] = []
        for entry in entries:
            if self._recorder is not None:
                self._recorder.entry(entry)
            updates += self._mapper.feed(entry)
            if entry.kind in (EntryKind.MESSAGE, EntryKind.CUT_SHORT):
                self._heard_own_s = entry.own_s
                self._is_heard = True
                self._messages += 1
        if updates:
            updates, over = self._within(updates)
            self._detect(updates)
            if over:
                self.finished.set()

    def _within(self, updates: list[Update]) -> tuple[list[Update], bool]:
        """Updates inside `for_s`, and whether the watch is over."""
        if self._for_s is None:
            return updates, False
        first_s = self._watch.first_s
        end_s = (updates[0].time_s if math.isnan(first_s) else first_s) + self._for_s
        inside = [update for update in updates if update.time_s <= end_s]
        return inside, len(inside) < len(updates)

    def _detect(self, updates: list[Update]) -> None:
        if not updates:
            return
        if self._recorder is not None:
            self._recorder.updates(updates)
        batch = batch_of(updates)
        with self._lock:
            if self._shows:
                self._history.append(batch)
            self._take_events(self._watch.feed(batch))
            self._host.take(batch)
            self._serial += 1

    def _take_events(self, changed: list[Event]) -> None:
        for event in changed:
            self._changed[event.id] = event
            if self._recorder is not None:
                self._recorder.event(event)

    def _diagnose_if(self, due: bool) -> None:
        if not due:
            return
        self._diagnosed_s = time.monotonic()
        with self._lock:
            found = replace(self._watch.found(), now_s=self._stand_s())
            said = self._noted
        self._try(said)
        judged = self._judge.judged(found, said, self._trials)
        with self._lock:
            if judged != self._judged:
                self._judged = judged
                self._serial += 1

    def _add(self, note: Note) -> None:
        """Take a note in; the lock is held."""
        self._notes.append(note)
        self._noted = noted(self._notes)
        self._serial += 1

    def _stand_s(self) -> float:
        """Log time now, for deeds; the clock may be behind the newest of them by a hair."""
        now_s = self._mapper.time_at(own_time()) or 0.0
        return max([now_s, *(deed.time_s for deed in self._noted.deeds)])

    def _try(self, said: Noted) -> None:
        """Work out trials anew now and then: hours of exposure go on without any event."""
        began_s = time.monotonic()
        if began_s < self._try_at_s and not self.finished.is_set():
            return
        with self._lock:
            usage = self._watch.usage()
        found = trials([watched(usage, said)])
        took_s = time.monotonic() - began_s
        self._try_at_s = began_s + max(TRIALS_EVERY_S, took_s / TRIALS_SHARE)
        with self._lock:
            self._trials = found
            self._serial += 1

    def _end(self) -> None:
        self._reader.stop()
        if not self.finished.is_set():
            self._take(self._reader.take())
        with self._lock:
            self._take_events(self._watch.finish())
        self._try_at_s = 0.0
        self._diagnose_if(True)
        if self._recorder is not None:
            self._recorder.close()
            is_empty = math.isnan(self._watch.first_s) and not self._notes
            if self._reader.fatal is not None and is_empty:
                # Nothing was heard at all: the name stays free for the next try.
                self._recorder.path.unlink(missing_ok=True)
                self._recorder = None
        self.finished.set()

    def _recording_view(self) -> RecordingView:
        if self._recorder is None:
            return RecordingView("", 0)
        return RecordingView(
            str(self._recorder.path), self._recorder.bytes_written, self._recorder.trouble
        )
