"""Faults that a scenario may hold: what happens, to whom, from when to when.

These are facts only; `client.simulated.acting` makes them act on the physics.
"""

from typing import Literal

import msgspec

from client.simulated.rhythm import PERIOD_S
from shared.circuit import Lead

SensorName = Literal["nozzle", "bed", "chamber"]
HeaterName = Literal["nozzle", "bed"]
FOREVER_S = 1e9


class Fault(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind"
):
    """Any fault: acts from `at_s` until `until_s`, simulated seconds."""

    at_s: float = 0.0
    until_s: float = FOREVER_S


class LooseContact(Fault, tag="loose-contact", frozen=True, kw_only=True):
    """A contact of the sensor's leads that opens wholly or in part, for moments."""

    channel: SensorName
    lead: Lead = "force-"
    """Whose contact it is: the lead by its terminal."""
    when: Literal["moving", "always"] = "moving"
    per_min: float = 10.0
    shortest_s: float = PERIOD_S
    """The default is the shortest that every update shows."""
    longest_s: float = 4.0
    least_ohm: float = 1.0
    most_ohm: float = 30.0
    opens: float = 0.2
    """Share of the moments in which the contact is wholly open."""


class BreakAt(Fault, tag="break-at", frozen=True, kw_only=True):
    """A lead whose broken strands part while the carriage is in one stretch of its way."""

    channel: SensorName
    lead: Lead = "force-"
    axis: Literal["x", "y", "z"] = "x"
    from_mm: float
    to_mm: float
    ohm: float | None = None
    """Resistance of the break; left out: open."""


class Open(Fault, tag="open", frozen=True, kw_only=True):
    """The sensor's circuit is open."""

    channel: SensorName
    lead: Lead | None = None
    """The lead that has parted; left out: the element itself."""


class Short(Fault, tag="short", frozen=True, kw_only=True):
    """A short across the element."""

    channel: SensorName
    ohm: float = 0.3


class Pickup(Fault, tag="pickup", frozen=True, kw_only=True):
    """Bursts from chopped motor currents at the converter's inputs, before its filter."""

    channel: SensorName
    volts: float
    """Highest peak of a burst, V."""
    hz: float = 50e3
    when: Literal["moving", "always"] = "moving"
    share: float = 0.5
    """Share of conversions that meet a burst at 100 mm/s; in proportion below."""


class Hum(Fault, tag="hum", frozen=True, kw_only=True):
    """A steady mains tone at the converter's inputs."""

    channel: SensorName
    volts: float
    """Amplitude, V."""
    hz: float = 50.0
    clock_error: float = 1e-3
    """Relative error of the controller's clock, which turns the tone into a slow wave."""


class GroundLoop(Fault, tag="ground-loop", frozen=True, kw_only=True):
    """A heater's current finds a way through screens or frame: an error while it is on."""

    channels: tuple[SensorName, ...]
    heater: HeaterName
    volts: float
    """Error at the inputs while the heater is on, V."""


class Bus(Fault, tag="bus", frozen=True, kw_only=True):
    """A data bus that errs, in bursts: shares are per reading while a burst lasts."""

    channels: tuple[SensorName, ...]
    flips: float = 0.0
    """Share of readings in which one bit of the code is flipped."""
    zeros: float = 0.0
    ones: float = 0.0
    lost: float = 0.0
    """Share of readings that get no answer; the host keeps what it had."""
    per_min: float = 0.0
    """Bursts a minute; 0: the bus errs all the time."""
    shortest_s: float = 1.0
    longest_s: float = 5.0


class HeaterOut(Fault, tag="heater-out", frozen=True, kw_only=True):
    """A heater's circuit is open: power is asked for and none arrives."""

    heater: HeaterName


class Slip(Fault, tag="slip", frozen=True, kw_only=True):
    """The sensor slips out of its seat: less coupling to the block, more to the air."""

    channel: HeaterName
    left: float = 0.3
    """Part of the coupling to the block that is left."""
    over_s: float = 5.0
    air_w_k: float = 0.02
    """Coupling to the air that is gained, W/K."""


class SupplyDip(Fault, tag="supply-dip", frozen=True, kw_only=True):
    """The converters' supply falls below what they need, for moments, on every channel."""

    per_min: float = 2.0
    shortest_s: float = 0.5
    longest_s: float = 2.5
    depth: float = 0.02
    """Part of the code that is lost."""


class ControllerRestart(Fault, tag="controller-restart", frozen=True, kw_only=True):
    """The controller starts anew at `at_s`; its converters' filters settle from a wrong start."""

    boot_s: float = 2.0
    settle_s: float = 4.5
    """Time constant with which the filters settle."""
    from_code: float = 0.85
    """Where they settle from, as part of full scale."""


class HostRestart(Fault, tag="host-restart", frozen=True, kw_only=True):
    """The host starts anew at `at_s`: link gone for `down_s`, then booting for `boot_s`."""

    down_s: float = 8.0
    boot_s: float = 6.0


class LinkDrop(Fault, tag="link-drop", frozen=True, kw_only=True):
    """The network between host and watcher is gone for `for_s`."""

    for_s: float = 10.0


class Stall(Fault, tag="stall", frozen=True, kw_only=True):
    """The host is too busy to send updates for `for_s`."""

    for_s: float = 6.0


class Halt(Fault, tag="halt", frozen=True, kw_only=True):
    """The host stops the machine at `at_s` and says why."""

    remark: str


AnyFault = (
    LooseContact
    | BreakAt
    | Open
    | Short
    | Pickup
    | Hum
    | GroundLoop
    | Bus
    | HeaterOut
    | Slip
    | SupplyDip
    | ControllerRestart
    | HostRestart
    | LinkDrop
    | Stall
    | Halt
)
