"""Events that the host itself reports: a profile's message rules give kind and channel.

Quantity: messages. Each one is an occurrence, also where the text is the same again. What
the host calls by a kind's name is taken at its word, beside what the readings show.

Blind to what no message rule of the profile names.
"""

from detectors.detector import HostDetector, Say
from detectors.reports import Sighting
from shared.words import EVERY_CHANNEL, Kind, channel_of, quantity_of

REPORTED = "reported"
"""Quantity under which a message rule's kind comes."""
_HOST = "host"


class ReportedDetector(HostDetector):
    """Passes on what the host says."""

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        if quantity_of(key) != REPORTED:
            return
        try:
            kind = Kind(text)
        except ValueError:
            return
        channel = channel_of(key)
        say(
            Sighting(
                row=row,
                at_s=time_s,
                channel=EVERY_CHANNEL if channel == _HOST else channel,
                kind=kind,
                start_s=time_s,
                end_s=time_s,
                value=1.0,
                unit="messages",
                text=f"the host reports a {kind.replace('-', ' ')}",
                facts={"reported": 1.0},
            )
        )
