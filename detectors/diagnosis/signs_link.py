"""Likelihoods: how the link to the host went. See `table.py` for how to read a row.

Two causes of the table are of the link: `network` and `host-load`. Everything else that ends a
link, such as a host that was stopped, refuses us, or is not what answers, counts as one that the
table does not know; the finding then says which. One sign of `SHAPE` stands for each loss or
silence, the others refine it.
"""

from detectors.diagnosis.table import Family, Given, Sign
from shared.words import Cause


def _sign(
    name: str,
    family: Family,
    unknown: float,
    network: tuple[float, str],
    load: tuple[float, str],
    *more: Given,
    otherwise: float = 0.01,
) -> Sign:
    given = (Given(Cause.NETWORK, *network), Given(Cause.HOST_LOAD, *load), *more)
    return Sign(name, family, otherwise, unknown, given)


SHAPE = (
    _sign(
        "link-lost",
        Family.SHAPE,
        0.32,
        (0.42, "links drop, and nothing else is told"),
        (0.10, "a host too busy to answer"),
        Given(Cause.SUPPLY, 0.05, "the host lost its supply"),
    ),
    _sign(
        "no-sign-of-life",
        Family.SHAPE,
        0.32,
        (0.41, "packets went nowhere"),
        (0.10, "a host too busy to answer"),
        Given(Cause.SUPPLY, 0.05, "the host lost its supply"),
    ),
    _sign(
        "broken-off",
        Family.SHAPE,
        0.40,
        (0.40, "something on the way forgot the link"),
        (0.08, "a host that ran out of memory"),
    ),
    _sign(
        "host-closed",
        Family.SHAPE,
        0.60,
        (0.02, "the close came through, so the way was free"),
        (0.04, "a host that sheds load"),
    ),
    _sign(
        "port-refuses",
        Family.SHAPE,
        0.60,
        (0.02, "the refusal came through, so the way was free"),
        (0.04, "a service that ran out of memory"),
    ),
    _sign(
        "host-denies",
        Family.SHAPE,
        0.60,
        (0.01, "the answer came through, so the way was free"),
        (0.01, "rights are no load"),
    ),
    _sign(
        "other-protocol",
        Family.SHAPE,
        0.60,
        (0.02, "a network's own page may answer in the host's place"),
        (0.01, "what answers is not the host"),
    ),
    _sign(
        "host-not-ready",
        Family.SHAPE,
        0.50,
        (0.02, "the answer came through, so the way was free"),
        (0.10, "it says that it cannot serve now"),
    ),
    _sign(
        "host-mute",
        Family.SHAPE,
        0.12,
        (0.06, "small packets may pass where large ones do not"),
        (0.55, "the machine answers, its service does not come to it"),
    ),
    _sign(
        "mute-yet-open",
        Family.SHAPE,
        0.10,
        (0.15, "an outage may end just then"),
        (0.50, "the way is free, and nothing comes"),
    ),
    _sign(
        "no-network-here",
        Family.SHAPE,
        0.03,
        (0.85, "this machine itself has none"),
        (0.01, "the host is not asked"),
    ),
    _sign(
        "own-machine",
        Family.SHAPE,
        0.60,
        (0.02, "it was us"),
        (0.02, "it was us"),
    ),
    _sign(
        "host-silent",
        Family.SHAPE,
        0.06,
        (0.15, "packets held up on the way"),
        (0.70, "the link is up and nothing comes"),
    ),
    _sign(
        "held-up",
        Family.SHAPE,
        0.03,
        (0.75, "what it had sent came all at once: the way was blocked"),
        (0.06, "a host whose sending stalls, and its readings do not"),
    ),
    _sign(
        "answers-though-silent",
        Family.SHAPE,
        0.12,
        (0.01, "the sign of life came through"),
        (0.70, "it lives, and has nothing to say"),
    ),
    _sign(
        "silent-of-either",
        Family.SHAPE,
        0.06,
        (0.35, "a link that went, in a log that does not tell of it"),
        (0.50, "a host too busy to send"),
    ),
)

BESIDE = (
    _sign(
        "host-ran-on",
        Family.WHEN,
        0.15,
        (0.85, "uptime grew all the while"),
        (0.60, "uptime grew all the while"),
        otherwise=0.15,
    ),
    _sign(
        "back-as-it-was",
        Family.WHEN,
        0.25,
        (0.80, "the host knows of nothing"),
        (0.60, "the host knows of nothing"),
        otherwise=0.25,
    ),
    _sign(
        "updates-ever-later",
        Family.WORDS,
        0.04,
        (0.04, "what is held up on the way comes all at once"),
        (0.70, "a host that falls behind"),
        otherwise=0.04,
    ),
    _sign(
        "comes-and-goes",
        Family.WHEN,
        0.10,
        (0.60, "wireless links do"),
        (0.20, "busy hosts do"),
        otherwise=0.10,
    ),
    _sign(
        "other-hosts-too",
        Family.WHERE,
        0.10,
        (0.70, "what all share is the way"),
        (0.02, "hosts are busy one by one"),
        otherwise=0.05,
    ),
    _sign(
        "other-hosts-not",
        Family.WHERE,
        0.55,
        (0.45, "each has a stretch of the way of its own"),
        (0.60, "hosts are busy one by one"),
        otherwise=0.50,
    ),
)

LINK_SIGNS = (*SHAPE, *BESIDE)
