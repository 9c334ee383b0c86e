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


class WorkedOut(msgspec.Struct, frozen=True):
    """One chain fact that nobody told, as the log shows it."""

    key: str
    """`r0_ohm`, `bits`, `reference_ohm`, or `step_ohm`: Ω per code."""
    value: float
    standard: float
    """Standard uncertainty; NaN where a single reading gives it."""
    how: str


class ChainState(msgspec.Struct, frozen=True, kw_only=True):
    """One channel's chain as it shows itself up to now."""

    channel: str
    chain: Chain
    """Facts as told, and as worked out where they were not; the others stand for nothing."""
    worked_out: tuple[WorkedOut, ...] = ()
    noise: NoiseCheck
    """From quiet moments: every heater steady, the machine still."""
    cold: ChannelCold | None
    """The cold check, where the machine stood at rest beside another channel."""
    rests_c: tuple[float, ...] = ()
    """Temperatures of the rests that the cold check rests on, by all channels."""
    stages: tuple[StageState, ...] = ()
    could_not_tell: tuple[str, ...] = ()
    shows_off_k: float = math.nan
    """How far the host's degrees are above those that the facts of what is fitted give, at a quiet
    moment, K; NaN where that is not known. Leads that were not told are not in the facts."""
    two_point: TwoPoint | None = None

    def knows(self, *keys: str) -> bool:
        """Whether all these facts were told or worked out."""
        found = {each.key for each in self.worked_out}
        if {"step_ohm", "reference_ohm"} <= found:
            found.add("bits")
        return self.chain.knows(*(key for key in keys if key not in found))

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
            found.append(cold_line(self.cold, self.rests_c, self.knows(*LEADS)))
        if self.two_point is not None:
            found.append(two_point_line(self.two_point))
        return tuple(found)


LEADS = ("wires", "lead_m")
"""The facts by which the leads' resistance is known."""


def worked_out_line(each: WorkedOut) -> str:
    """A fact that was worked out, with its uncertainty and how."""
    if each.key == "bits":
        return f"{each.value:g} bits, {each.how}"
    if each.key == "step_ohm":
        return f"one code is {_measured(1000.0 * each.value, each, 'mΩ')}, {each.how}"
    name = "R0" if each.key == "r0_ohm" else "reference"
    return f"{name} {_measured(each.value, each, 'Ω')}, {each.how}"


def taken(state: ChainState) -> list[str]:
    """Sentences on what was worked out of a channel's chain, and what of its scale is not told."""
    lines = [f"{state.channel}: worked out: {worked_out_line(each)}" for each in state.worked_out]
    untold = [name for key, name in SCALE_NAMES.items() if not state.knows(key)]
    if not state.chain.knows(*SCALE_NAMES) and untold:
        more = "; Ω are those of a Pt100" if "R0" in untold else ""
        lines.append(f"{state.channel}: not told: {', '.join(untold)}{more}")
    return lines


SCALE_NAMES = {"r0_ohm": "R0", "reference_ohm": "reference", "bits": "bits"}
"""The facts that turn a code into Ω and degrees, in words."""


def _measured(value: float, each: WorkedOut, unit: str) -> str:
    """A value, with twice its standard uncertainty where there is one."""
    if math.isnan(each.standard) or each.standard <= 0.0:
        return f"{value:.5g} {unit}"
    percent = max(200.0 * each.standard / each.value, 0.001)
    return f"{value:.6g} {unit} (± {percent:.1g} %)"


def noise_line(noise: NoiseCheck) -> str:
    """Measured noise against its expectation."""
    expected = f"{1000.0 * noise.expected_ohm:.1f} mΩ expected"
    if math.isnan(noise.measured_ohm):
        more = "" if math.isnan(noise.expected_ohm) else f"; {expected}"
        return f"noise: not told ({noise.could_not_tell}){more}"
    if math.isnan(noise.expected_ohm):
        return (
            f"noise {1000.0 * noise.measured_ohm:.1f} mΩ = {noise.codes:.2f} codes = "
            f"{1000.0 * noise.celsius:.0f} mK; {noise.readings} readings; {noise.could_not_tell}"
        )
    low, high = noise.interval
    more = f"; open: {noise.could_not_tell}" if noise.could_not_tell else ""
    return (
        f"noise {1000.0 * noise.measured_ohm:.1f} mΩ = {noise.codes:.2f} codes = "
        f"{1000.0 * noise.celsius:.0f} mK, {noise.ratio:.2f} ({low:.2f}…{high:.2f}) times the "
        f"{expected}: {noise.finding}; {noise.readings} readings{more}"
    )


def cold_line(cold: ChannelCold, rests_c: Sequence[float], leads_are_told: bool = True) -> str:
    """What the cold check implies for leads and gain."""
    at = " and ".join(f"{celsius:.1f}" for celsius in rests_c)
    if len(rests_c) < 2:
        at = f"{cold.others_c:.1f}"
    leads, gain = cold.implied_leads_ohm, cold.implied_gain
    by_facts = f"{cold.expected_leads_ohm:.2f} by the facts" if leads_are_told else "cable not told"
    line = (
        f"at rest at {at} °C: leads add {spread(leads)} Ω ({by_facts}), or the gain is off by "
        f"{spread(gain, 100.0)} %"
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
