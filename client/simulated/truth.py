"""The truth of a run as a file: one JSON object a moment."""

from pathlib import Path

import msgspec

from client.simulated.machine import MachineMoment
from shared.errors import BadInput


class TruthLog:
    """Writes what really was. NDJSON: a moment a line, fields as in `machine.Truth`."""

    def __init__(self, path: str | Path) -> None:
        try:
            self._file = Path(path).open("wb")  # noqa: SIM115
        except OSError as error:
            why = (error.strerror or "cannot be written").lower()
            raise BadInput(str(path), why, "give a path that can be written") from None

    def write(self, moment: MachineMoment) -> None:
        line = {"host_s": moment.host_s, "link_up": moment.link_up}
        self._file.write(
            msgspec.json.encode({**line, **msgspec.structs.asdict(moment.truth)}) + b"\n"
        )

    def close(self) -> None:
        self._file.close()
