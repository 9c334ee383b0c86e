"""One interface over recordings and plain logs: what detectors, screens and exports read."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol

from recordings.bundle import MAGIC, Bundle
from recordings.files import head_of
from recordings.opening import is_database
from recordings.plain_log import PlainLog, read_plain_log
from recordings.reader import Recording
from recordings.samples import count_samples, sensor_channels
from shared.chain import Chain
from shared.notes import Note
from shared.updates import Batch


class Log(Protocol):
    """A log on disk, with its times in its own `time_s`."""

    @property
    def path(self) -> Path: ...

    @property
    def keys(self) -> tuple[str, ...]:
        """Every CHANNEL.QUANTITY, in order of appearance."""

    @property
    def channels(self) -> tuple[str, ...]:
        """Channels with a sensor's reading, in order of appearance."""

    @property
    def unknown(self) -> tuple[str, ...]:
        """Keys whose quantity the contract does not list."""

    @property
    def duration_s(self) -> float:
        """Last time less first time."""

    @property
    def samples(self) -> int:
        """Number of sensor readings: temperatures, codes and resistances."""

    @property
    def chains(self) -> Mapping[str, Chain]:
        """Chain facts that the log itself holds, by channel."""

    @property
    def notes(self) -> tuple[Note, ...]: ...

    @property
    def meta(self) -> Mapping[str, Any]:
        """What the log says of its making."""

    def batches(self) -> Iterator[Batch]:
        """The whole log from its start. Raises BadInput at damage or a fault."""

    def close(self) -> None: ...


class PlainFile:
    """A plain log as a `Log`. Its samples are known after one pass, which is made if need be."""

    chains: Mapping[str, Chain] = {}
    notes: tuple[Note, ...] = ()
    meta: Mapping[str, Any] = {}

    def __init__(self, plain: PlainLog) -> None:
        self.path = plain.path
        self.keys = plain.keys
        self.unknown = plain.unknown
        self.channels = sensor_channels(plain.keys)
        self._plain = plain
        self._survey: tuple[float, int] | None = None

    @property
    def duration_s(self) -> float:
        return self._surveyed()[0]

    @property
    def samples(self) -> int:
        return self._surveyed()[1]

    def batches(self) -> Iterator[Batch]:
        first_s: float | None = None
        last_s = 0.0
        samples = 0
        for batch in self._plain.batches():
            first_s = float(batch.time_s[0]) if first_s is None else first_s
            last_s = float(batch.time_s[-1])
            samples += count_samples(batch)
            yield batch
        self._survey = (last_s - (first_s or 0.0), samples)

    def close(self) -> None:
        """Nothing is held open."""

    def _surveyed(self) -> tuple[float, int]:
        if self._survey is None:
            for _ in self.batches():
                pass
        assert self._survey is not None
        return self._survey


def open_log(path: str | Path) -> Log:
    """Open a recording, a bundle or a plain log; its content decides, not its name.

    Raises BadInput for anything else.
    """
    path = Path(path)
    head = head_of(path)
    if is_database(head):
        return Recording(path)
    if head.startswith(MAGIC):
        return Bundle(path)
    return PlainFile(read_plain_log(path))
