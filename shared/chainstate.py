"""What a sensor chain shows while it is watched, from element to host."""

import math
from collections.abc import Sequence
from enum import StrEnum

import msgspec

from shared.chain import Chain
from shared.coldcheck import ChannelCold
from shared.noise import NoiseCheck
from shared.twopoint import Estimate, Point, TwoPoint, two_point_check


class Stage(StrEnum):
    """Parts of a sensor chain, in the order of the signal."""

    ELEMENT = "element"
    LEADS = "leads"
    FILTER = "filter"
    CONVERTER = "converter"
    BUS = "bus"
    CONTROLLER = "controller"
    HOST = "host"


class Finding(StrEnum):
    """Result of a stage's live check."""

    OK = "ok"
    OFF = "off"
    NOT_TOLD = "not told"


class StageState(msgspec.Struct, frozen=True):
    """One stage: what the watch says of it, and why."""

    stage: Stage
    finding: Finding
    why: str


class ChainState(msgspec.Struct, frozen=True, kw_only=True):
    """One channel's chain as it shows itself up to now."""

    channel: str
    chain: Chain
    is_assumed: bool
    """Whether the facts are the usual ones because no profile gave any."""
    noise: NoiseCheck
    """From quiet moments: every heater steady, the machine still."""
    cold: ChannelCold | None
    """The cold check, where the machine stood at rest beside another channel."""
    rests_c: tuple[float, ...] = ()
    """Temperatures of the rests that the cold check rests on, by all channels."""
    stages: tuple[StageState, ...] = ()
    could_not_tell: tuple[str, ...] = ()
    two_point: TwoPoint | None = None

    def with_points(self, points: Sequence[Point], element_in: bool) -> "ChainState":
        """The same with a two-point check at known resistances; no points change nothing."""
        if not points:
            return self
        found = two_point_check(self.chain, points, element_in)
        return msgspec.structs.replace(self, two_point=found)

    @property
    def off(self) -> tuple[StageState, ...]:
        return tuple(each for each in self.stages if each.finding is Finding.OFF)

    @property
    def lines(self) -> tuple[str, ...]:
        """The measured facts as sentences; the stages and what could not be told are apart."""
        found = [noise_line(self.noise)]
        if self.cold is not None:
            found.append(cold_line(self.cold, self.rests_c))
        if self.two_point is not None:
            found.append(two_point_line(self.two_point))
        return tuple(found)


def noise_line(noise: NoiseCheck) -> str:
    """Measured noise against its expectation."""
    expected = f"{1000.0 * noise.expected_ohm:.1f} mΩ expected"
    if math.isnan(noise.measured_ohm):
        return f"noise: not told ({noise.could_not_tell}); {expected}"
    low, high = noise.interval
    more = f"; open: {noise.could_not_tell}" if noise.could_not_tell else ""
    return (
        f"noise {1000.0 * noise.measured_ohm:.1f} mΩ = {noise.codes:.2f} codes = "
        f"{1000.0 * noise.celsius:.0f} mK, {noise.ratio:.2f} ({low:.2f}…{high:.2f}) times the "
        f"{expected}: {noise.finding}; {noise.readings} readings{more}"
    )


def cold_line(cold: ChannelCold, rests_c: Sequence[float]) -> str:
    """What the cold check implies for leads and gain."""
    at = " and ".join(f"{celsius:.1f}" for celsius in rests_c)
    if len(rests_c) < 2:
        at = f"{cold.others_c:.1f}"
    leads, gain = cold.implied_leads_ohm, cold.implied_gain
    line = (
        f"at rest at {at} °C: leads add {spread(leads)} Ω ({cold.expected_leads_ohm:.2f} by the "
        f"facts), or the gain is off by {spread(gain, 100.0)} %"
    )
    if not cold.is_off:
        return f"{line}: agrees with the others"
    prefers = "" if cold.prefers == "cannot tell" else f"{cold.prefers}, "
    return f"{line}: {prefers or 'cannot tell which: '}{cold.why}"


def two_point_line(found: TwoPoint) -> str:
    """Offset apart from gain by known resistances."""
    split = found.split
    if split.offset_ohm is None or split.gain is None:
        return f"two points: {'; '.join(found.could_not_tell)}"
    path = "" if found.path_ohm is None else f", one lead {spread(found.path_ohm)} Ω"
    return (
        f"two points: offset {spread(split.offset_ohm)} Ω{path} ({found.expected_path_ohm:.2f} by "
        f"the facts), gain {spread(split.gain, 100.0)} %: {split.prefers}"
    )


def spread(estimate: Estimate, times: float = 1.0) -> str:
    """A value with two standard uncertainties."""
    return f"{times * estimate.value:+.2f} ± {2.0 * times * estimate.standard:.2f}"
