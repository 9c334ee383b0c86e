"""What the host told of its own state, and its last words."""

from shared.updates import Batch
from shared.words import HostState


class HostTold:
    """`word` is its state: a `HostState`, its own word without a meaning here, or empty: not told.

    That the link came back says nothing of a host that never told its state, though the log
    takes it for up (`client.mapping`).
    """

    def __init__(self) -> None:
        self.word = ""
        self.message = ""
        self._is_told = False

    def take(self, batch: Batch) -> list[tuple[float, str]]:
        """States that a batch brings, each with its time."""
        found = []
        for row, word in batch.texts.get("host.state", ()):
            found.append((float(batch.time_s[row]), self._state(word)))
        for _, text in batch.texts.get("host.message", ())[-1:]:
            self.message = text
        return found

    def _state(self, word: str) -> str:
        is_back = self.word == HostState.GONE and word == HostState.UP
        self._is_told = self._is_told or not (is_back or word == HostState.GONE)
        self.word = "" if is_back and not self._is_told else word
        return self.word
