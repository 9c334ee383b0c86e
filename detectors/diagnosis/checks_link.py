"""Checks of the link to the host. Probabilities of outcomes are judgement."""

from functools import partial

from detectors.diagnosis.checkform import CheckForm, Outcome, Risk
from shared.words import Cause

_SERVICE = frozenset(
    {
        "port-refuses",
        "host-closed",
        "broken-off",
        "no-sign-of-life",
        "host-not-ready",
        "host-mute",
        "answers-though-silent",
        "link-lost",
        "mute-yet-open",
    }
)

_look = partial(CheckForm, tools="none", risk=Risk.LOOK, caution="")

LINK = (
    _look(
        name="look-at-network",
        do="From here, send the host a ping a second for ten minutes; then by cable, where you "
        "can.",
        effort_min=10,
        outcomes=(
            Outcome("losses", "answers are lost or take long"),
            Outcome("clean", "all answers come at once"),
        ),
        otherwise=(0.05, 0.95),
        given={Cause.NETWORK: (0.85, 0.15), Cause.HOST_LOAD: (0.25, 0.75)},
        unknown=(0.15, 0.85),
    ),
    _look(
        name="look-at-host-load",
        do="While it happens, look at the host: processor, memory, free disk, heat, other jobs, a "
        "camera.",
        effort_min=5,
        outcomes=(
            Outcome("busy", "busy, hot or full"),
            Outcome("idle", "plenty in reserve"),
        ),
        otherwise=(0.10, 0.90),
        given={Cause.HOST_LOAD: (0.85, 0.15)},
        unknown=(0.15, 0.85),
    ),
    _look(
        name="look-at-service",
        do="On the host, see whether its service runs, since when, and what its log says of that "
        "moment.",
        effort_min=4,
        outcomes=(
            Outcome("stopped", "it does not run, or began anew since"),
            Outcome("ended-it", "it runs, and ended the link itself"),
            Outcome("knows-nothing", "it has run all along, and only saw us go"),
        ),
        otherwise=(0.03, 0.02, 0.95),
        given={
            Cause.NETWORK: (0.02, 0.03, 0.95),
            Cause.HOST_LOAD: (0.15, 0.15, 0.70),
            Cause.SUPPLY: (0.80, 0.02, 0.18),
        },
        unknown=(0.60, 0.25, 0.15),
        only_with=_SERVICE,
    ),
    _look(
        name="look-at-access",
        do="Hold the profile's token, and this machine's place on the host's list of who may come, "
        "against what the host asks for.",
        effort_min=3,
        outcomes=(
            Outcome("not-let-in", "token or list do not let us in"),
            Outcome("let-in", "both do"),
        ),
        otherwise=(0.05, 0.95),
        unknown=(0.85, 0.15),
        only_with=frozenset({"host-denies"}),
    ),
    _look(
        name="look-at-address",
        do="See on the host which port its service listens on and what it speaks, with TLS or "
        "without; run `ohmvigil learn ADDRESS` on it.",
        effort_min=3,
        outcomes=(
            Outcome("another", "another port, protocol or address"),
            Outcome("the-same", "just what the profile says"),
        ),
        otherwise=(0.05, 0.95),
        unknown=(0.85, 0.15),
        only_with=frozenset({"other-protocol"}),
    ),
    _look(
        name="look-at-own-machine",
        do="Look at the machine that ohmvigil runs on: sleep, processor, memory, other jobs.",
        effort_min=3,
        outcomes=(
            Outcome("was-held-up", "it slept, or was busy or full"),
            Outcome("was-free", "it was awake, with plenty in reserve"),
        ),
        otherwise=(0.05, 0.95),
        unknown=(0.85, 0.15),
        only_with=frozenset({"own-machine"}),
    ),
)
