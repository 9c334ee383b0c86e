"""A scenario: the machine's chains, what it is told to do, what goes wrong, what should be found.

Scenarios are TOML files; `docs/simulated-host.md` explains them key by key.
"""

from importlib import resources
from pathlib import Path
from typing import Any

import msgspec

from client.simulated.faults import AnyFault
from shared import toml
from shared.chain import Chain, check_chain
from shared.circuit import FITTED
from shared.errors import BadInput
from shared.words import Cause, Kind

NOZZLE_CHAIN = Chain(wires=3, lead_awg=30, lead_m=1.2)
BED_CHAIN = Chain(wires=2, lead_awg=22, lead_m=0.8, moving=False)
CHAMBER_CHAIN = Chain(wires=3, lead_awg=26, lead_m=1.0, moving=False)


class Sensor(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One sensor chain as it is, and where its owner and the host believe otherwise."""

    chain: Chain
    believed: dict[str, Any] = {}
    """Chain facts by name, where belief and truth differ."""
    bridged: bool = False
    """Whether empty terminals are bridged to their neighbour."""

    @property
    def believed_chain(self) -> Chain:
        return msgspec.structs.replace(self.chain, **self.believed)


class Sensors(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    nozzle: Sensor = Sensor(chain=NOZZLE_CHAIN)
    bed: Sensor = Sensor(chain=BED_CHAIN)
    chamber: Sensor = Sensor(chain=CHAMBER_CHAIN)


class Start(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """State of the machine when the scenario begins; temperatures left out are the room's."""

    room_c: float = 23.0
    nozzle_c: float | None = None
    bed_c: float | None = None
    chamber_c: float | None = None
    board_c: float | None = None
    alive_s: float = 900.0
    """How long the controller has been up."""


class ProgramStep(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the machine is told at `at_s`; what is left out stays as it was."""

    at_s: float
    nozzle_c: float | None = None
    bed_c: float | None = None
    fan: float | None = None
    printing: bool | None = None
    mm_s: float | None = None
    """Fastest move of a print, mm/s."""


class Limit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When the host halts because of one heater. Defaults follow from the heat model (tested)."""

    lowest_c: float = -15.0
    """Colder than any room with a printer. An assumption."""
    highest_c: float = 290.0
    """45 °C above the hottest goal of the scenarios: no overshoot of theirs comes near."""
    patience_s: float = 8.5
    """How long a reading must stay beyond the limits. Power is cut meanwhile: so long a nozzle
    that prints at 210 °C takes to cool by 10 K, hold and dead time included."""
    no_rise_s: float = 45.0
    """How long full power may bring no `control.NO_RISE_C`; 0: for ever. A quarter of the
    heater's time constant, C/G: the nozzle then gains 39 K even at the limit, fan and flow full."""


class HostLimits(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    nozzle: Limit = Limit()
    bed: Limit = Limit(highest_c=130.0, no_rise_s=95.0)
    """A quarter of the bed's time constant, in which it gains 7.8 K at the limit."""
    grace_s: float = 50.0
    """Time after a controller's start in which readings beyond the limits are let pass: eleven
    time constants of the converters' filters (4.5 s), which leave a code of the worst start."""


class Sending(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How punctual the host is."""

    jitter_s: float = 0.02
    late: float = 0.004
    """Share of updates that leave late, by up to `latest_s`."""
    latest_s: float = 0.8
    lost: float = 0.002
    """Share of updates that the host skips."""


class Expect(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The truth to be found: nothing, or any of `kinds` on `channel` because of `cause`."""

    healthy: bool = False
    kinds: tuple[Kind, ...] = ()
    cause: Cause | None = None
    also_fits: tuple[Cause, ...] = ()
    """Causes that the evidence can hardly tell from the true one."""
    channel: str = ""


class Scenario(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All of a scenario; `name` is the file's."""

    name: str = ""
    title: str
    shows: str
    for_s: float = 900.0
    """How long it takes until all is shown."""
    start: Start = Start()
    channels: Sensors = Sensors()
    limits: HostLimits = HostLimits()
    sending: Sending = Sending()
    steps: tuple[ProgramStep, ...] = ()
    faults: tuple[AnyFault, ...] = ()
    expect: Expect

    @property
    def chains(self) -> dict[str, Chain]:
        """Chain facts as the machine's owner believes them, for the channels that give a code."""
        return {
            "nozzle": self.channels.nozzle.believed_chain,
            "bed": self.channels.bed.believed_chain,
        }


def load_scenario(name_or_path: str | Path) -> Scenario:
    """Read and check a scenario, by name (`scenario_names()`) or by path.

    A name has no slash and no `.toml`. BadInput names file, line and key.
    """
    path = _path(name_or_path)
    scenario = toml.load(path, Scenario)
    _check(scenario, path)
    return msgspec.structs.replace(scenario, name=path.stem)


def scenario_names() -> tuple[str, ...]:
    """Names of the scenarios that come with the program, sorted."""
    return tuple(sorted(path.stem for path in _folder().glob("*.toml")))


def _folder() -> Path:
    return Path(str(resources.files("client.simulated") / "scenarios"))


def _path(name_or_path: str | Path) -> Path:
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or "/" in text or text.endswith(".toml"):
        return Path(name_or_path)
    if text not in scenario_names():
        raise BadInput(text, "unknown scenario", toml.meant(text, scenario_names()))
    return _folder() / f"{text}.toml"


def _check(scenario: Scenario, path: Path) -> None:
    for name in ("nozzle", "bed", "chamber"):
        _check_sensor(getattr(scenario.channels, name), path, name)
    last_s = 0.0
    for index, step in enumerate(scenario.steps):
        if step.at_s < last_s:
            _refuse(path, ("steps", index, "at_s"), "earlier than the step before", "sort by time")
        last_s = step.at_s
    for index, fault in enumerate(scenario.faults):
        if fault.at_s < 0.0 or fault.until_s <= fault.at_s:
            _refuse(path, ("faults", index, "at_s"), "ends before it begins", "correct the times")
        lead = getattr(fault, "lead", None)
        if lead is not None:
            wires = getattr(scenario.channels, getattr(fault, "channel", "")).chain.wires
            if lead not in FITTED[wires]:
                what = f"{wires} wires have no lead '{lead}'"
                _refuse(
                    path, ("faults", index, "lead"), what, f"name one of {', '.join(FITTED[wires])}"
                )
    if scenario.for_s <= 0.0:
        _refuse(path, ("for_s",), "not above 0", "give a time in seconds")
    expect = scenario.expect
    if expect.healthy == bool(expect.kinds):
        _refuse(path, ("expect",), "needs either healthy = true or kinds", "give one of them")


def _check_sensor(sensor: Sensor, path: Path, name: str) -> None:
    known = Chain.__struct_fields__
    for key in sensor.believed:
        if key not in known:
            way = ("channels", name, "believed", key)
            _refuse(path, way, "unknown key", toml.meant(key, known))
        try:
            msgspec.convert({**msgspec.to_builtins(sensor.chain), key: sensor.believed[key]}, Chain)
        except msgspec.ValidationError as error:
            what = str(error).partition(" - at ")[0].replace("`", "'")
            what = what[:1].lower() + what[1:]
            _refuse(path, ("channels", name, "believed", key), what, "correct the value")
    for table, chain in (("chain", sensor.chain), ("believed", sensor.believed_chain)):
        try:
            check_chain(chain)
        except ValueError as error:
            key, _, what = str(error).partition(" ")
            _refuse(path, ("channels", name, table, key), what, "correct the value")


def _refuse(path: Path, keys: tuple[str | int, ...], what: str, do: str) -> None:
    raise BadInput(toml.place(path, keys), what, do)
