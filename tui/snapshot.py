"""What the screen is given: a frozen picture of the watch, and the calls it may make."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Protocol

from detectors.trials.counted import KindTrial
from shared.chain import Chain
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated, RankedCause, Verdict
from shared.health import ChannelHealth
from shared.notes import NOTE, Note
from tui.history import History


class LinkState(StrEnum):
    """State of the connection to the host."""

    CONNECTING = "connecting"
    OPEN = "open"
    LOST = "lost"
    ENDED = "ended"
    FILE = "file"
    """No link: a recording is being replayed."""
    LIVE_FILE = "live file"
    """No link of ours: a recording is replayed that another program is still writing."""


@dataclass(frozen=True, slots=True)
class LinkView:
    state: LinkState
    since_s: float
    """Log time of the last change."""
    data_age_s: float
    """Seconds since the last message, on the log's clock; NaN before the first."""
    why: str = ""
    dropped: int = 0
    """Messages dropped for the screen because it could not keep up."""
    is_heard: bool = True
    """Whether the host has ever said anything; the rest is for one that has not."""
    lasted_s: float = 0.0
    """How long the state has lasted, by this machine's clock: there is no log time yet."""
    attempts: int = 1
    next_try_s: float | None = None
    """Time until the next attempt, while one is waited for."""


@dataclass(frozen=True, slots=True)
class RecordingView:
    """State of the recording: `path` is empty when nothing is recorded."""

    path: str
    bytes_written: int
    trouble: str = ""
    """One line when writing fails; empty when all is well."""


@dataclass(frozen=True, slots=True)
class PlayView:
    """Replay only: where the cursor stands and how fast it moves."""

    cursor_s: float
    first_s: float
    last_s: float
    speed: float
    paused: bool
    event_starts_s: tuple[float, ...] = ()
    """Where every event of the file starts, also those after the cursor, for n and N."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A frozen picture. `serial` rises with each change of anything but ages."""

    serial: int
    title: str
    now_s: float
    link: LinkView
    host: str
    """Its state: a `HostState`, or its own word where that has no meaning here; empty: not told."""
    recording: RecordingView
    channels: tuple[ChannelHealth, ...]
    events: tuple[Event, ...]
    """Every event so far in order of `id`; an event that changed stands at its place."""
    acknowledged: frozenset[int]
    """Ids of events that a person has acknowledged."""
    causes: tuple[RankedCause, ...]
    not_evaluated: tuple[NotEvaluated, ...]
    verdict: Verdict
    notes: tuple[Note, ...]
    play: PlayView | None = None
    message: str = ""
    """The host's last words."""
    assumed: tuple[str, ...] = ()
    chains: tuple[ChainState, ...] = ()
    """What each sensor chain shows; in a replay as of the whole file."""
    trials: tuple[KindTrial, ...] = ()
    """Faults by trial; in a replay of the whole file."""
    shelved: Mapping[int, float | None] = field(default_factory=dict)
    """Events that are on a shelf, by id: until when (log time), None until they have returned."""
    quiet: frozenset[str] = frozenset()
    """Channels on which only what is shelved is wrong: their causes lead no headline."""


class SnapshotSource(Protocol):
    """What feeds a screen: the live watch, or a replay. All calls return at once."""

    @property
    def history(self) -> History: ...

    def snapshot(self) -> Snapshot: ...

    @property
    def chains(self) -> Mapping[str, Chain]:
        """Chain facts by channel, as far as they are given."""

    def note(
        self, text: str, time_s: float, kind: str = NOTE, facts: Mapping[str, Any] | None = None
    ) -> str:
        """Note and record; an answer to a check, or a trial, also moves the ranking.

        Says where the note is kept, where that is not the recording that is being written.

        Acknowledging and shelving are notes too (`detectors.judged.noted`).
        """

    def seek(self, time_s: float) -> None:
        """Move the replay cursor; a live source ignores it."""

    def play(self, speed: float, paused: bool) -> None:
        """Set the replay's speed and whether it runs; a live source ignores it."""

    def close(self) -> None: ...
