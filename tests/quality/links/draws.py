"""Bad links of known causes, drawn at random. Every case has the same weight; ranges are here.

Of all cases: spacing 0.25 to 2 s; a clock in the messages in half, the controller's uptime in
two of three, a state after a start in half; WebSocket in seven of ten, else lines over TCP; near
(its absence is noticed in 3 s) in six of ten, else after 10 s; up to three other hosts watched
beside it in half.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from detectors.diagnosis.table import Candidate
from shared.link import How
from shared.words import Cause
from tests.quality.links.world import Rng, Span, State, World

FOR_S = 360.0
FIRST_S, LAST_S = 60.0, 160.0
"""When the trouble begins."""
CLOSES = (
    ("the host closed the link (1001 going away)", How.CLOSED),
    ("the host closed the link (1012 service restart)", How.CLOSED),
    ("the host closed the link (1000)", How.CLOSED),
    ("the link broke off", How.BROKEN),
    ("connection reset", How.RESET),
)


@dataclass
class Drawn:
    """One case: the world, what it truly is, and in which words it may be told."""

    world: World
    cause: Candidate
    told: tuple[str, ...]
    """Words of which one has to be in the finding."""
    way: str
    others: list[float] = field(default_factory=list)
    """When other hosts were lost; inf: not."""
    dropped: list[tuple[float, int]] = field(default_factory=list)


def draw(case: str, seed: int) -> Drawn:
    """One link that goes bad in this way."""
    rng = np.random.default_rng([seed, *case.encode()])
    world = World(
        rng,
        period_s=_log(rng, 0.25, 2.0),
        boots=[-float(rng.uniform(600.0, 1e5))],
        has_clock=_chance(rng, 0.5),
        has_uptime=_chance(rng, 2 / 3),
        says_starting=_chance(rng, 0.5),
        is_websocket=_chance(rng, 0.7),
        is_near=_chance(rng, 0.6),
        gives_up_s=float(rng.uniform(20.0, 90.0)),
    )
    at_s = float(rng.uniform(FIRST_S, LAST_S))
    drawn = CASES[case](rng, world, at_s)
    if not drawn.others and _chance(rng, 0.5):
        drawn.others = [math.inf] * int(rng.integers(1, 4))
    return drawn


def _drop(rng: Rng, world: World, at_s: float) -> Drawn:
    """A long outage, which may outlast the log; other hosts share it mostly."""
    lasts_s = math.inf if _chance(rng, 0.3) else _log(rng, 12.0, 150.0)
    world.spans = [Span(State.BLOCKED, at_s, at_s + lasts_s)]
    drawn = Drawn(world, Cause.NETWORK, ("sign of life", "answer", "no machine", "down"), "outage")
    if _chance(rng, 0.4):
        drawn.others = _shared(rng, at_s, 0.8)
    return drawn


def _wireless(rng: Rng, world: World, at_s: float) -> Drawn:
    """Three to eight outages of 4 to 30 s."""
    for _ in range(int(rng.integers(3, 9))):
        lasts_s = _log(rng, 4.0, 30.0)
        world.spans.append(Span(State.BLOCKED, at_s, at_s + lasts_s))
        at_s += lasts_s + float(rng.uniform(8.0, 40.0))
    return Drawn(
        world, Cause.NETWORK, ("all at once", "sign of life", "no update"), "comes and goes"
    )


def _no_network(rng: Rng, world: World, at_s: float) -> Drawn:
    """This machine loses its own network for 15 to 120 s."""
    world.spans = [Span(State.NO_NETWORK, at_s, at_s + _log(rng, 15.0, 120.0))]
    drawn = Drawn(world, Cause.NETWORK, ("had no network", "sign of life"), "own network down")
    if _chance(rng, 0.5):
        drawn.others = _shared(rng, at_s, 1.0)
    return drawn


def _several(rng: Rng, world: World, at_s: float) -> Drawn:
    """What all hosts share is gone for 12 to 100 s."""
    world.spans = [Span(State.BLOCKED, at_s, at_s + _log(rng, 12.0, 100.0))]
    others = _shared(rng, at_s, 0.9)
    return Drawn(world, Cause.NETWORK, ("sign of life", "answer", "no machine"), "all", others)


def _killed(rng: Rng, world: World, at_s: float) -> Drawn:
    """The service ends without a word; it stays so, or comes back while the controller ran on."""
    lasts_s = math.inf if _chance(rng, 0.5) else _log(rng, 5.0, 120.0)
    words, how = CLOSES[3] if _chance(rng, 0.6) else CLOSES[4]
    world.spans = [Span(State.STOPPED, at_s, at_s + lasts_s, words, how)]
    return Drawn(world, None, ("port refused",), "stays" if lasts_s == math.inf else "comes back")


def _restarted(rng: Rng, world: World, at_s: float) -> Drawn:
    """The service starts anew in 2 to 60 s, and with it the controller in four of five."""
    lasts_s = _log(rng, 2.0, 60.0)
    words, how = CLOSES[int(rng.integers(len(CLOSES)))]
    world.spans = [Span(State.STOPPED, at_s, at_s + lasts_s, words, how)]
    if _chance(rng, 0.8):
        world.boots.append(at_s + lasts_s * float(rng.uniform(0.3, 0.9)))
    told = ("port refused", "started again", words)
    return Drawn(world, None, told, "closed" if how is How.CLOSED else "broken off")


def _powered_off(rng: Rng, world: World, at_s: float) -> Drawn:
    """No power: comes back in seven of ten, through a boot, with the controller started anew."""
    if _chance(rng, 0.3):
        world.spans = [Span(State.OFF, at_s)]
        return Drawn(world, None, ("answer", "no machine", "sign of life"), "stays off")
    off_s, boot_s = _log(rng, 15.0, 90.0), float(rng.uniform(5.0, 40.0))
    world.spans = [
        Span(State.OFF, at_s, at_s + off_s),
        Span(State.STOPPED, at_s + off_s, at_s + off_s + boot_s),
    ]
    world.boots.append(at_s + off_s + float(rng.uniform(0.0, boot_s)))
    return Drawn(world, None, ("started again", "port refused"), "comes back")


def _refuses(rng: Rng, world: World, at_s: float) -> Drawn:
    """A close code that says so, or a plain end and then 401, or a request that is refused."""
    words, how = CLOSES[int(rng.integers(len(CLOSES)))]
    way = "401 at the next try"
    if world.is_websocket and _chance(rng, 0.5):
        words, how, way = "the host closed the link (1008 token expired)", How.DENIED, "1008"
    world.spans = [Span(State.DENYING, at_s, math.inf, words, how)]
    return Drawn(world, None, ("refuses us", "token", "refused status"), way)


def _other_protocol(rng: Rng, world: World, at_s: float) -> Drawn:
    """Something else takes the port, after a while without anybody in half of them."""
    world.is_websocket = True
    words, how = CLOSES[int(rng.integers(len(CLOSES)))]
    free_s = _log(rng, 2.0, 20.0) if _chance(rng, 0.5) else 0.0
    world.spans = [
        Span(State.STOPPED, at_s, at_s + free_s, words, how),
        Span(State.OTHER, at_s + free_s, math.inf, words, how),
    ]
    return Drawn(world, None, ("something else answers",), "another protocol")


def _mute(rng: Rng, world: World, at_s: float) -> Drawn:
    """Its machine and its service answer, and it sends nothing for 8 to 90 s, once or thrice."""
    state = State.MUTE if world.is_websocket else State.HUNG
    for _ in range(int(rng.integers(1, 4))):
        lasts_s = _log(rng, 8.0, 90.0) if world.is_websocket else _log(rng, 6.0, 9.0)
        world.spans.append(Span(state, at_s, at_s + lasts_s))
        at_s += lasts_s + float(rng.uniform(20.0, 60.0))
    return Drawn(world, Cause.HOST_LOAD, ("no update",), "silent")


def _slow(rng: Rng, world: World, at_s: float) -> Drawn:
    """Each spacing is 5 to 30 % longer than the last; it may end in a hang."""
    world.slow_from_s, world.slower = at_s, 1.0 + _log(rng, 0.05, 0.3)
    spacing_s, hangs_s = world.period_s, at_s
    while spacing_s < 12.0:
        spacing_s *= world.slower
        hangs_s += spacing_s
    if _chance(rng, 0.5):
        world.spans = [Span(State.HUNG, hangs_s)]
        return Drawn(world, Cause.HOST_LOAD, ("no update", "down"), "ends in a hang")
    return Drawn(world, Cause.HOST_LOAD, ("no update", "down"), "ever slower")


def _hung(rng: Rng, world: World, at_s: float) -> Drawn:
    """A service too busy to answer anything for 20 to 120 s; its machine takes links."""
    world.spans = [Span(State.HUNG, at_s, at_s + _log(rng, 20.0, 120.0))]
    return Drawn(world, Cause.HOST_LOAD, ("service hangs",), "hung")


def _own_stall(rng: Rng, world: World, at_s: float) -> Drawn:
    """This machine stands still one to three times, for 8 to 120 s."""
    for _ in range(int(rng.integers(1, 4))):
        lasts_s = _log(rng, 8.0, 120.0)
        world.stalls.append((at_s, lasts_s))
        at_s += lasts_s + float(rng.uniform(20.0, 60.0))
    return Drawn(world, None, ("this machine itself",), "own stall")


def _own_limits(rng: Rng, world: World, at_s: float) -> Drawn:
    """Messages of 8 to 60 s are dropped here, unread."""
    lasts_s = _log(rng, 8.0, 60.0)
    drawn = Drawn(world, None, ("dropped here",), "own queue full")
    drawn.dropped = [(at_s, round(lasts_s / world.period_s))]
    return drawn


def _not_ready(rng: Rng, world: World, at_s: float) -> Drawn:
    """What stands before the service answers for it, for 10 to 120 s."""
    world.is_websocket = True
    words, how = CLOSES[int(rng.integers(len(CLOSES)))]
    world.spans = [Span(State.NOT_READY, at_s, at_s + _log(rng, 10.0, 120.0), words, how)]
    return Drawn(world, None, ("cannot serve now",), "503 from a forwarder")


CASES: dict[str, Callable[[Rng, World, float], Drawn]] = {
    "network gone": _drop,
    "wireless comes and goes": _wireless,
    "our network gone": _no_network,
    "several hosts at once": _several,
    "service killed": _killed,
    "host restarted": _restarted,
    "machine powered off": _powered_off,
    "host refuses us": _refuses,
    "another protocol": _other_protocol,
    "service behind a forwarder down": _not_ready,
    "silent though up": _mute,
    "ever slower": _slow,
    "service hangs": _hung,
    "own machine stalled": _own_stall,
    "own queue full": _own_limits,
}


def _shared(rng: Rng, at_s: float, share: float) -> list[float]:
    """When each of one to three others was lost."""
    count = int(rng.integers(1, 4))
    return [
        at_s + float(rng.uniform(5.0, 15.0)) if rng.random() < share else math.inf
        for _ in range(count)
    ]


def _chance(rng: Rng, share: float) -> bool:
    return bool(rng.random() < share)


def _log(rng: Rng, low: float, high: float) -> float:
    """Log-uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))
