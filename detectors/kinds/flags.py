"""converter-flag: the converter raised a fault flag.

Quantity: the flag words of the `flags` column. One event a channel for as long as any
flag is up, since flags that come together have one cause; the words are in its text.

Blind where the host passes no flags on.
"""

import math

from detectors.detector import HostDetector, Say
from detectors.reports import Cleared, Sighting
from shared.kinds import KINDS
from shared.words import NO_FLAGS, Kind, channel_of, quantity_of


class FlagDetector(HostDetector):
    """Stands on the first update that carries a flag."""

    def __init__(self) -> None:
        self._up: dict[str, str] = {}
        self._said: dict[str, set[str]] = {}
        """All words of an event, and when it last ended."""
        self._ended_s: dict[str, float] = {}

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        if quantity_of(key) != "flags":
            return
        channel = channel_of(key)
        words = sorted({word.strip() for word in text.split(";")} - {"", NO_FLAGS})
        joined = ";".join(words)
        was = self._up.get(channel, "")
        if joined == was:
            return
        self._up[channel] = joined
        if not joined:
            self._ended_s[channel] = time_s
            say(Cleared(row, time_s, channel, Kind.CONVERTER_FLAG, time_s))
            return
        if time_s - self._ended_s.get(channel, -math.inf) > KINDS[Kind.CONVERTER_FLAG].join_s:
            self._said[channel] = set()
        said = self._said.setdefault(channel, set())
        said.update(words)
        say(
            Sighting(
                row=row,
                at_s=time_s,
                channel=channel,
                kind=Kind.CONVERTER_FLAG,
                start_s=time_s,
                end_s=None,
                value=float(len(words)),
                unit="flags",
                text=f"the converter says {', '.join(words)}",
                facts={"flags": ";".join(sorted(said)), "now": joined},
            )
        )
