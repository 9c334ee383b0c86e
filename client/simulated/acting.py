"""Faults in action: before each reading, each may change what is physical or electrical.

An actor draws from random numbers of its own, so that a fault added to a scenario leaves
everything else's noise as it was. Faults of the host and of its link act elsewhere
(`client.simulated.machine`).
"""

import math
import random
from collections.abc import Callable, Iterable
from typing import Any

from client.simulated import faults
from client.simulated.faults import AnyFault
from client.simulated.plant import Plant
from client.simulated.rhythm import READING_S

FULL_SPEED_MM_S = 100.0
TICK_JITTER_S = 2e-4


class Actor:
    """A fault and what it remembers; `act` says whether it showed in this tick."""

    def __init__(self, fault: Any, label: str, rng: random.Random) -> None:
        self.fault = fault
        self.label = label
        self.rng = rng
        self.left_s = 0.0

    def act(self, plant: Plant) -> bool:
        raise NotImplementedError

    def spell(self, per_min: float, shortest_s: float, longest_s: float) -> bool | None:
        """Random spells: True in one, None at the first tick of one, False between."""
        if self.left_s > 0.0:
            self.left_s -= READING_S
            return True
        if self.rng.random() >= per_min / 60.0 * READING_S:
            return False
        # Short spells are more usual than long ones: even on a logarithmic scale.
        spread = self.rng.uniform(0.0, math.log(longest_s / shortest_s))
        self.left_s = shortest_s * math.exp(spread) - READING_S
        return None


class _LooseContact(Actor):
    ohm = 0.0

    def act(self, plant: Plant) -> bool:
        fault: faults.LooseContact = self.fault
        if self.left_s <= 0.0 and fault.when == "moving" and not plant.carriage.is_moving:
            return False
        spell = self.spell(fault.per_min, fault.shortest_s, fault.longest_s)
        if spell is False:
            return False
        if spell is None:
            is_open = self.rng.random() < fault.opens
            self.ohm = math.inf if is_open else self.rng.uniform(fault.least_ohm, fault.most_ohm)
        # What touches is never quite the same from one moment to the next.
        plant.chains[fault.channel].add_ohm(fault.lead, self.ohm * self.rng.uniform(0.8, 1.2))
        return True


class _BreakAt(Actor):
    def act(self, plant: Plant) -> bool:
        fault: faults.BreakAt = self.fault
        position = plant.carriage.xyz["xyz".index(fault.axis)]
        if not fault.from_mm <= position <= fault.to_mm:
            return False
        ohm = math.inf if fault.ohm is None else fault.ohm * self.rng.uniform(0.8, 1.2)
        plant.chains[fault.channel].add_ohm(fault.lead, ohm)
        return True


class _Open(Actor):
    def act(self, plant: Plant) -> bool:
        fault: faults.Open = self.fault
        chain = plant.chains[fault.channel]
        if fault.lead is None:
            chain.is_parted = True
        else:
            chain.add_ohm(fault.lead, math.inf)
        return True


class _Short(Actor):
    def act(self, plant: Plant) -> bool:
        plant.chains[self.fault.channel].shunt_ohm = self.fault.ohm
        return True


class _Pickup(Actor):
    def act(self, plant: Plant) -> bool:
        fault: faults.Pickup = self.fault
        meets, part, sign = self.rng.random(), self.rng.uniform(0.3, 1.0), self.rng.random()
        rate = plant.carriage.rate_mm_s if fault.when == "moving" else FULL_SPEED_MM_S
        if meets >= fault.share * rate / FULL_SPEED_MM_S:
            return False
        chain = plant.chains[fault.channel]
        chain.burst_v = fault.volts * part * (1.0 if sign < 0.5 else -1.0)
        chain.burst_hz = fault.hz
        return True


class _Hum(Actor):
    def act(self, plant: Plant) -> bool:
        fault: faults.Hum = self.fault
        chain = plant.chains[fault.channel]
        # Readings come at the ticks of a clock that is a little off, give or take.
        moment_s = plant.time_s * (1.0 + fault.clock_error) + self.rng.gauss(0.0, TICK_JITTER_S)
        chain.tone_v = fault.volts * math.sin(2.0 * math.pi * fault.hz * moment_s)
        chain.tone_hz = fault.hz
        return True


class _GroundLoop(Actor):
    def act(self, plant: Plant) -> bool:
        fault: faults.GroundLoop = self.fault
        # A heater is switched on and off within a second: a conversion meets it on or off.
        if self.rng.random() >= plant.regulators[fault.heater].power:
            return False
        for name in fault.channels:
            plant.chains[name].ground_v = fault.volts * self.rng.uniform(0.8, 1.2)
        return True


class _Bus(Actor):
    def act(self, plant: Plant) -> bool:
        fault: faults.Bus = self.fault
        if fault.per_min > 0.0:
            spell = self.spell(fault.per_min, fault.shortest_s, fault.longest_s)
            if spell is False:
                return False
        showed = False
        for name in fault.channels:
            showed |= self._err(fault, plant, name)
        return showed

    def _err(self, fault: faults.Bus, plant: Plant, name: str) -> bool:
        chain = plant.chains[name]
        chance = self.rng.random()
        bit = self.rng.randrange(chain.bits - 12, chain.bits - 1)
        if chance < fault.lost:
            chain.is_lost = True
        elif chance < fault.lost + fault.flips:
            chain.flip = bit
        elif chance < fault.lost + fault.flips + fault.zeros:
            chain.stuck = False
        elif chance < fault.lost + fault.flips + fault.zeros + fault.ones:
            chain.stuck = True
        else:
            return False
        return True


class _HeaterOut(Actor):
    def act(self, plant: Plant) -> bool:
        plant.blocks[self.fault.heater].is_broken = True
        return True


class _Slip(Actor):
    def act(self, plant: Plant) -> bool:
        fault: faults.Slip = self.fault
        block = plant.blocks[fault.channel]
        done = min((plant.time_s - fault.at_s) / max(fault.over_s, READING_S), 1.0)
        block.left = 1.0 - (1.0 - fault.left) * done
        block.air_w_k = fault.air_w_k * done
        return True


class _SupplyDip(Actor):
    depth = 0.0

    def act(self, plant: Plant) -> bool:
        fault: faults.SupplyDip = self.fault
        spell = self.spell(fault.per_min, fault.shortest_s, fault.longest_s)
        if spell is False:
            return False
        if spell is None:
            self.depth = fault.depth * self.rng.uniform(0.6, 1.0)
        for chain in plant.chains.values():
            chain.gain = 1.0 - self.depth
        plant.board_off_c = -self.depth * (plant.electronics.celsius + 273.15)
        return True


class _ControllerRestart(Actor):
    done = False

    def act(self, plant: Plant) -> bool:
        fault: faults.ControllerRestart = self.fault
        if not self.done:
            self.done = True
            plant.restart_controller(fault.boot_s)
            for chain in plant.chains.values():
                from_code = fault.from_code * self.rng.uniform(0.9, 1.1)
                chain.begin_settling(from_code, fault.settle_s)
        return plant.time_s < fault.at_s + fault.boot_s + 8.0 * fault.settle_s


class _Halt(Actor):
    def act(self, plant: Plant) -> bool:
        plant.halt(self.fault.remark)
        return True


_ACTORS: dict[type, Callable[[Any, str, random.Random], Actor]] = {
    faults.LooseContact: _LooseContact,
    faults.BreakAt: _BreakAt,
    faults.Open: _Open,
    faults.Short: _Short,
    faults.Pickup: _Pickup,
    faults.Hum: _Hum,
    faults.GroundLoop: _GroundLoop,
    faults.Bus: _Bus,
    faults.HeaterOut: _HeaterOut,
    faults.Slip: _Slip,
    faults.SupplyDip: _SupplyDip,
    faults.ControllerRestart: _ControllerRestart,
    faults.Halt: _Halt,
}


def actors_of(found: Iterable[AnyFault], seed: int) -> list[Actor]:
    """Actors of the faults that are physical, in the scenario's order."""
    actors = []
    for index, fault in enumerate(found):
        kind = _ACTORS.get(type(fault))
        if kind is not None:
            rng = random.Random(f"{seed} fault {index} {tag_of(fault)}")
            actors.append(kind(fault, label_of(fault), rng))
    return actors


def tag_of(fault: AnyFault) -> str:
    """Word of the fault's kind, as scenarios have it."""
    return str(fault.__struct_config__.tag)


def label_of(fault: AnyFault) -> str:
    """Kind, and where it acts: `loose-contact nozzle`."""
    where = getattr(fault, "channel", "") or getattr(fault, "heater", "")
    return f"{tag_of(fault)} {where}".strip()
