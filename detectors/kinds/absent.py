"""stale on one channel: the host itself says that it has no reading of a sensor.

Quantity: seconds without a reading. The client tells it at the first null, or word that is no
number, in a reading's place (`shared/absent.py`); the next number ends it. It needs no time and
has no deadband: what the host says of its own sensor is taken at its word, and quoted. Such a
reading is a failure by NAMUR NE 107: there is no signal to be used. What cannot be read is no
word of the host's for that: a check of function, since it may be the message that is spoilt.

Blind to a host that says nothing in a lost reading's place, or repeats the last number there.
"""

from detectors.detector import HostDetector, Say
from detectors.reports import Cleared, Sighting
from shared.absent import UNREAD, number_key
from shared.words import SENSOR_QUANTITIES, Kind, Severity, channel_of, quantity_of

_NAMES = {"temperature_c": "temperature", "resistance_ohm": "resistance"}


class AbsentDetector(HostDetector):
    """Keeps what each channel lacks, in the host's words."""

    def __init__(self) -> None:
        self._lacks: dict[str, dict[str, str]] = {}
        """By channel: quantity and the host's word for it."""
        self._since_s: dict[str, float] = {}

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        number = number_key(key)
        if number is None or quantity_of(number) not in SENSOR_QUANTITIES:
            return
        channel = channel_of(number)
        lacks = self._lacks.setdefault(channel, {})
        if not lacks:
            self._since_s[channel] = time_s
        lacks[quantity_of(number)] = text
        names = " and ".join(_NAMES.get(each, each) for each in lacks)
        says = "', '".join(dict.fromkeys(each.removeprefix(UNREAD) for each in lacks.values()))
        is_said = not any(each.startswith(UNREAD) for each in lacks.values())
        why = "" if is_said else ", which cannot be read"
        say(
            Sighting(
                row=row,
                at_s=time_s,
                channel=channel,
                kind=Kind.STALE,
                start_s=self._since_s[channel],
                end_s=None,
                value=0.0,
                unit="s",
                text=f"no reading: for its {names} the host says '{says}'{why}",
                severity=Severity.FAILURE if is_said else None,
                facts={"says": says if is_said else ""},
            )
        )

    def number(self, row: int, time_s: float, key: str, say: Say) -> None:
        channel = channel_of(key)
        lacks = self._lacks.get(channel, {})
        if lacks.pop(quantity_of(key), None) is None or lacks:
            return
        lasted_s = time_s - self._since_s[channel]
        say(Cleared(row, time_s, channel, Kind.STALE, time_s, value=lasted_s))
