"""What each channel's chain shows while it is watched: noise, the cold check, what the host adds.

The watch shows every closed window; a few plain floats of each are kept. All else is worked
out when it is asked for, and kept until another window has come.

Noise counts from *quiet* windows: every heater's power steady, the machine still (as far as
motion is reported), the channel neither starting nor changing temperature, one even run of
samples. The cold check counts from windows in which the rest rule says that the machine
stands at rest; the newest rest at each temperature counts. At most two rests enter it, the
coldest and the warmest: what makes channels differ at rest (tolerance, where they sit) is
the same every time, and more rests would only seem to make it smaller.
"""

import math
from collections import deque
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import msgspec
import numpy as np

from detectors.chain.stages import StageSeen, stages
from detectors.chain.workedout import WorkedOutWatch, with_worked_out
from detectors.kinds.rest import is_board
from detectors.table.closed import ClosedWindow, Together, WindowsAt
from detectors.table.frame import Held
from detectors.table.plan import ChannelPlan
from detectors.table.windows import ROWS
from shared import platinum
from shared.chain import SCALE, Chain
from shared.chainstate import LEADS, ChainState, WorkedOut
from shared.coldcheck import ChannelCold, ColdCheck, ColdReading, cold_check
from shared.events import Event
from shared.leads import path_ohm, share_read
from shared.noise import NoiseCheck, noise_found
from shared.reach import shown_c
from shared.words import Gate

QUIET_KEPT = 64
"""Quiet windows that the noise is taken from: about nine minutes at 4 Hz."""
OFF_OF = 15
"""Newest quiet windows of which half say how far, at least, the host's degrees are off."""
OFF_LEAST = 2
"""Fewer say nothing: an input that comes and goes leaves a window or two that are off."""
STEADY = 0.1
"""How far a heater's power may rise above its mean within a quiet window."""
QUIET_GATES = (Gate.COLD, Gate.HOLDING)
SAME_REST_K = 5.0
"""Rests nearer than this are at one temperature; the newer one counts."""
RESTS_KEPT = 8
NEAR_K = 2.0
"""How far channels at rest may truly differ: 1 K left to cool or warm by the rest rule, and
1 K for where they sit. An assumption."""
REPEATS = 0.1
"""Repeated values, as part of all, from which a host is taken to send what did not change."""
DEGREES_STANDARD_OHM = 0.04
"""Of a channel that sends degrees only: 0.1 K of a Pt100."""
NO_LEADS = {"wires": 4, "strapped_for": None, "lead_m": 0.0, "contact_ohm": 0.0}
NO_CLASS = {"tolerance": "C", "reference_tolerance": 0.0}
"""What stands in the comparison for facts that were not told: no leads, class C."""


@dataclass(frozen=True, slots=True)
class KnownChain:
    """What is known of a channel when it is asked about."""

    plan: ChannelPlan
    chain: Chain
    """Facts as told, and as worked out where they were not."""
    worked_out: tuple[WorkedOut, ...]
    period_s: float
    """Smallest time between two of its values."""

    @property
    def has_code(self) -> bool:
        return self.plan.has_code

    @property
    def has_ohms(self) -> bool:
        return self.plan.has_ohms

    @property
    def knows_leads(self) -> bool:
        return self.chain.knows(*LEADS)

    @property
    def is_known(self) -> bool:
        """Whether any fact was told."""
        return self.chain.told != ()


@dataclass(frozen=True, slots=True)
class _Quiet:
    """One quiet window in Ω."""

    apart: float
    mean: float
    celsius: float
    span_s: float
    sent: int
    repeats: int


@dataclass(slots=True)
class _Mean:
    """Running mean and variance of window means."""

    in_degrees: bool
    count: int = 0
    mean: float = 0.0
    squares: float = 0.0

    def add(self, value: float) -> None:
        self.count += 1
        off = value - self.mean
        self.mean += off / self.count
        self.squares += off * (value - self.mean)

    @property
    def standard(self) -> float:
        if self.count < 2:
            return 0.0
        return math.sqrt(self.squares / (self.count - 1) / self.count)


@dataclass(slots=True)
class _Rest:
    """One rest: its number, °C by channel when it began, and each channel's mean signal."""

    number: int
    degrees: dict[str, float]
    channels: dict[str, _Mean] = field(default_factory=dict)

    @property
    def celsius(self) -> float:
        ordered = sorted(self.degrees.values())
        return ordered[(len(ordered) - 1) // 2]

    def is_like(self, degrees: Mapping[str, float]) -> bool:
        """Whether it was at these temperatures; a channel repaired since may differ."""
        return any(
            abs(self.degrees[name] - degrees[name]) < SAME_REST_K
            for name in self.degrees.keys() & degrees.keys()
        )


class ChainWatch:
    """Keeps what windows show of every channel's chain."""

    def __init__(self, held: Mapping[str, Held]) -> None:
        self._held = held
        self._workedout = WorkedOutWatch()
        self._quiet: dict[str, deque[_Quiet]] = {}
        self._rests: list[_Rest] = []
        self._number = 0
        self._was_resting = False
        self._reports_motion = False
        self.windows = 0
        """Windows seen: states change only with it, with events and with facts."""

    def window(self, windows: WindowsAt, resting: Mapping[str, float]) -> None:
        """One window of all channels; `resting` holds °C by channel while the machine rests."""
        self.windows += 1
        index = windows.index
        self._workedout.window(windows.together, index, self._held)
        moving = windows.together.times.moving[index]
        self._reports_motion = self._reports_motion or moving == moving
        if not moving > 0.0 and windows.together.of(_are_steady)[index]:
            for name in windows.together.of(_in_ohms):
                window = windows.get(name)
                if window is not None and window.mean != window.celsius and _is_quiet(window):
                    self._keep(name, window)
        if resting:
            self._rested(windows, resting)
        elif self._was_resting:
            self._number += 1
        self._was_resting = bool(resting)

    def _keep(self, name: str, window: ClosedWindow) -> None:
        kept = self._quiet.get(name)
        if kept is None:
            kept = self._quiet[name] = deque(maxlen=QUIET_KEPT)
        kept.append(
            _Quiet(
                window.apart,
                window.mean,
                window.celsius,
                window.end_s - window.start_s,
                window.changes + window.repeats,
                window.repeats,
            )
        )

    def _rested(self, windows: Mapping[str, ClosedWindow], resting: Mapping[str, float]) -> None:
        degrees = {name: c for name, c in resting.items() if not is_board(name)}
        if len(degrees) < 2:
            return
        rest = self._rest_at(degrees)
        for name in degrees:
            window = windows.get(name)
            if window is None or window.joined or window.signal_is_missing:
                continue
            in_degrees = window.mean == window.celsius
            mean = rest.channels.get(name)
            if mean is None or mean.in_degrees is not in_degrees:
                mean = rest.channels[name] = _Mean(in_degrees)
            mean.add(window.mean)

    def _rest_at(self, degrees: dict[str, float]) -> _Rest:
        """The rest that goes on, or a new one in the place of an older one of its temperature."""
        if self._rests and self._rests[-1].number == self._number:
            return self._rests[-1]
        others = [rest for rest in self._rests if not rest.is_like(degrees)]
        self._rests = others[-RESTS_KEPT + 1 :]
        rest = _Rest(self._number, degrees)
        self._rests.append(rest)
        return rest

    # -- asked --

    def states(self, events: Sequence[Event], has_uptime: bool) -> tuple[ChainState, ...]:
        """Each channel whose chain can be spoken of: it sends codes or Ω, or has facts."""
        channels = {name: self._known(held, events) for name, held in self._held.items()}
        rests = self._extremes()
        check = cold_check(_readings(rests, channels), NEAR_K)
        rests_c = tuple(rest.celsius for rest in rests)
        return tuple(
            self._state(name, known, check, rests, channels, rests_c, events, has_uptime)
            for name, known in channels.items()
            if known.has_code or known.has_ohms or known.is_known
        )

    def _known(self, held: Held, events: Sequence[Event]) -> KnownChain:
        facts = self._workedout.facts(held.plan, events)
        chain = with_worked_out(held.plan.chain, facts)
        return KnownChain(held.plan, chain, facts, held.period_s)

    def _state(
        self,
        name: str,
        known: KnownChain,
        check: ColdCheck,
        rests: Sequence[_Rest],
        channels: Mapping[str, KnownChain],
        rests_c: tuple[float, ...],
        events: Sequence[Event],
        has_uptime: bool,
    ) -> ChainState:
        quiet = self._quiet.get(name, deque())
        noise = self._noise(quiet, known)
        cold, named, untold = _cold_of(name, check, rests, channels)
        shows_off_k = _shows_off_k(quiet, known)
        told = StageSeen(
            known.chain,
            noise,
            cold,
            named,
            untold,
            _host_shows(quiet, known),
            shows_off_k,
            self._workedout.changed(name),
            self.windows * ROWS if known.has_code else 0,
            has_uptime,
        )
        open_questions = [untold] if untold else []
        if noise.could_not_tell:
            open_questions.append(f"noise: {noise.could_not_tell}")
        elif not self._reports_motion:
            open_questions.append("noise: whether the machine was still, motion is not sent")
        return ChainState(
            channel=name,
            chain=known.chain,
            worked_out=known.worked_out,
            noise=noise,
            cold=cold,
            rests_c=rests_c if cold is not None else (),
            stages=stages(told, [each for each in events if each.channel in (name, "*")]),
            could_not_tell=tuple(open_questions),
            shows_off_k=shows_off_k,
        )

    def _noise(self, quiet: Collection[_Quiet], known: KnownChain) -> NoiseCheck:
        chain = known.chain
        pairs = len(quiet) * (ROWS - 1)
        sent = sum(each.sent for each in quiet)
        # A value that is held between two readings is no second reading.
        if sum(each.repeats for each in quiet) >= REPEATS * sent > 0.0:
            count = min(pairs, sent)
        elif known.period_s > 0.0:
            count = min(pairs, int(math.fsum(each.span_s for each in quiet) / known.period_s))
        else:
            count = pairs
        if not quiet or not count or known.plan.scale.is_from_codes_alone:
            found = noise_found(chain, 0, math.nan, math.nan)
            why = "no quiet moment: heaters steady, machine still"
            if not (known.has_code or known.has_ohms):
                why = "the host sends degrees only, no code or resistance"
            elif known.plan.scale.is_from_codes_alone:
                why = "only codes are sent, and no fact turns them into Ω"
            return NoiseCheck(
                0,
                math.nan,
                found.expected_ohm,
                found.interval,
                math.nan,
                math.nan,
                "cannot tell",
                why,
            )
        scale = _scale(known)
        square = math.fsum(each.apart for each in quiet) * (ROWS - 1) / count * scale * scale
        middle_ohm = math.fsum(each.mean for each in quiet) / len(quiet) * scale
        return noise_found(chain, count, square, middle_ohm)

    def _extremes(self) -> list[_Rest]:
        """The coldest rest, and the warmest where there are two."""
        ordered = sorted(self._rests, key=lambda rest: rest.celsius)
        return ordered if len(ordered) < 2 else [ordered[0], ordered[-1]]


def _are_steady(together: Together) -> list[bool]:
    """Whether no heater changes its power, of each window."""
    steady = np.ones(len(together.windows), dtype=bool)
    for run in together.channels.values():
        if run.has_power:
            steady &= ~(run.channel.power_high - run.channel.power > STEADY)
    found: list[bool] = steady.tolist()
    return found


def _in_ohms(together: Together) -> list[str]:
    """Channels with a code or Ω: degrees stand where neither is sent."""
    runs = together.channels.items()
    return [name for name, run in runs if (run.channel.mean != run.channel.celsius).any()]


def _is_quiet(window: ClosedWindow) -> bool:
    return (
        window.gate in QUIET_GATES
        and not window.joined
        and window.apart == window.apart
        and _is_even(window)
    )


def _is_even(window: ClosedWindow) -> bool:
    """Whether no sample stands apart from an even slope and the window's own noise.

    `noise` alone is 0 where values are held between readings; one odd sample moves neither.
    """
    way = 1.3 * abs(window.slope) * (window.end_s - window.start_s)
    return window.high - window.low <= way + 2.0 * window.step + 10.0 * max(
        window.noise, window.rough
    )


def _scale(known: KnownChain) -> float:
    """From the signal to Ω at the converter: a host's Ω are by its own reference."""
    return 1.0 if known.has_code else _gain(known.chain)


def _gain(chain: Chain) -> float:
    """Reference fitted over reference believed; 1 where they were not told."""
    if not chain.knows("reference_ohm"):
        return 1.0
    return chain.reference_ohm / chain.believed_reference_ohm


def _readings(rests: Iterable[_Rest], channels: Mapping[str, KnownChain]) -> list[ColdReading]:
    return [
        _reading(name, mean, channels[name], moment)
        for moment, rest in enumerate(rests)
        for name, mean in rest.channels.items()
        if name in channels
    ]


def _reading(name: str, mean: _Mean, known: KnownChain, moment: int) -> ColdReading:
    """A channel's mean at rest in Ω at its converter."""
    chain = _compared(known)
    if not mean.in_degrees:
        scale = _scale(known)
        rounding = chain.step_ohm / math.sqrt(12.0)
        standard = math.hypot(mean.standard * scale, rounding)
        return ColdReading(name, chain, mean.mean * scale, standard, moment)
    believed = platinum.ohms(mean.mean, chain.believed_r0_ohm, chain.believed_curve)
    ohm = believed * _gain(chain)
    standard = DEGREES_STANDARD_OHM * chain.r0_ohm / 100.0
    return ColdReading(name, chain, ohm, standard, moment)


def _compared(known: KnownChain) -> Chain:
    """The chain by which a channel is compared: what was not told adds nothing, or is wide."""
    chain = known.chain
    if not known.knows_leads:
        chain = msgspec.structs.replace(chain, **NO_LEADS)
    if not chain.knows("tolerance"):
        chain = msgspec.structs.replace(chain, **NO_CLASS)
    return chain


def _cold_of(
    name: str, check: ColdCheck, rests: Sequence[_Rest], channels: Mapping[str, KnownChain]
) -> tuple[ChannelCold | None, bool, str]:
    """The check of one channel, whether it is the one that is off, and what stays open.

    Where one channel is off, the others are compared among themselves.
    """
    if not any(name in rest.channels for rest in rests):
        why = "the machine never stood cold and unheated beside another sensor"
        return None, False, f"leads and gain: {why}"
    if check.odd_one not in (None, name):
        left = [each for each in _readings(rests, channels) if each.channel != check.odd_one]
        check = cold_check(left, NEAR_K)
    found = next((each for each in check.channels if each.channel == name), None)
    if found is None:
        return None, False, "leads and gain: no other sensor to compare with"
    if not found.is_off:
        return found, False, ""
    if check.odd_one == name:
        untold = f"leads from gain: {found.why}" if found.prefers == "cannot tell" else ""
        return found, True, untold
    return found, False, next(iter(check.could_not_tell), "which channel is off")


def _shows_off_k(quiet: Sequence[_Quiet], known: KnownChain) -> float:
    """How far the host's degrees are above those of the element by what is fitted, K."""
    chain = known.chain
    if not chain.knows(*SCALE) or not (known.has_code or known.has_ohms):
        return math.nan
    newest = list(quiet)[-OFF_OF:]
    if len(newest) < OFF_LEAST:
        return math.nan
    share = share_read(chain)[0] if known.knows_leads else 0.0
    leads = share * path_ohm(chain) if math.isfinite(share) else 0.0
    off = [
        each.celsius
        - platinum.celsius(each.mean * _scale(known) - leads, chain.r0_ohm, chain.element_curve)
        for each in newest
    ]
    return sorted(off, key=abs)[(len(off) - 1) // 2]


def _host_shows(quiet: Sequence[_Quiet], known: KnownChain) -> tuple[float, float] | None:
    """Degrees that the host showed at a quiet moment, and those that the facts give."""
    if not quiet:
        return None
    last = quiet[-1]
    given = shown_c(known.chain, last.mean * _scale(known))
    if last.celsius != last.celsius or given != given:
        return None
    return last.celsius, given
