"""From events and chain facts to evidence.

Every `Fact` bears the name of a row in the cause table. What detectors put into
`Event.facts` is used where it is there, and nothing is guessed where it isn't:

    first_reading    not 0 when no good reading came before
    signal, before, r0_ohm, celsius   reading at an end, the one before, R0, its degrees
    full             share of breaks that were wholly open
    positive_share   share of occurrences toward open
    moving           share of occurrences while the carriage moved
    duration_s       length of one occurrence
    delta_ohm, delta_c   size of one occurrence
    flags            converter flags, joined by `;`
    message          the host's words
    offset_c, offset_ohm   offset at room temperature; others_c what the others say
    power_excess     change of the power that a hold takes, as part of it
    events, all_events   occurrences in the tied state, and all
    rate_c_s         rise or fall of the reading while power is on
    ended, since and others of the link: see `detectors/kinds/linkstory.py`
    settled_s        how long a startup transient took
"""

from collections.abc import Callable, Iterable

from detectors.diagnosis.case import Case, Fact
from detectors.diagnosis.context import flags, host, others, timing
from detectors.diagnosis.ends import rails
from detectors.diagnosis.link import link
from detectors.diagnosis.offsets import offsets
from detectors.diagnosis.reading import (
    breaks,
    heat,
    jumps,
    noise,
    sizes,
    spikes,
    stillness,
    transients,
)

__all__ = ["Fact", "facts_of"]

_DRAWN: tuple[Callable[[Case], Iterable[Fact]], ...] = (
    transients,
    rails,
    breaks,
    sizes,
    spikes,
    noise,
    stillness,
    jumps,
    heat,
    offsets,
    timing,
    flags,
    others,
    host,
    link,
)


def facts_of(case: Case) -> tuple[Fact, ...]:
    """Facts of a case, each name once with its strongest bearing, in a steady order."""
    found: dict[str, Fact] = {}
    for draw in _DRAWN:
        for fact in draw(case):
            known = found.get(fact.name)
            if known is None or fact.strength > known.strength:
                found[fact.name] = fact
    return tuple(found.values())
