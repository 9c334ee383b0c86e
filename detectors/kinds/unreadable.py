"""unreadable: messages of the host that could not be used.

Quantity: messages since the log began. The client tells them as text (`shared/unreadable.py`),
once a second at most: what is no JSON, is larger than the limit, holds values that are none, or,
as long as nothing ever fitted, has no name that the profile knows.

Blind to what a host sends beside its readings in messages that are sound.
"""

from detectors.detector import HostDetector, Say
from detectors.reports import of_the_host
from shared.unreadable import NO_FIT, UNREADABLE, told_of
from shared.words import Kind


class UnreadableDetector(HostDetector):
    """Sums up what the client tells."""

    def __init__(self) -> None:
        self._messages = 0

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        found = told_of(text) if key == UNREADABLE else None
        if found is None:
            return
        count, why, example = found
        self._messages += count
        said = f", such as '{example}'" if example else ""
        if why == NO_FIT:
            words = (
                f"messages come, none fits this profile{said}: run `ohmvigil watch HOST --check`"
            )
        else:
            times = "message" if self._messages == 1 else "messages"
            words = f"{self._messages} {times} could not be used: {why}{said}"
        say(
            of_the_host(
                Kind.UNREADABLE,
                row,
                time_s,
                words,
                end_s=time_s,
                value=float(self._messages),
                unit="messages",
                facts={"why": why},
            )
        )
