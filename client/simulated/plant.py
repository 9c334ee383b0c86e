"""The machine under the host: heat, motion, sensor chains and the controller that runs them."""

import math
import random
from collections.abc import Sequence
from typing import Any, Protocol

from client.simulated.carriage import Carriage
from client.simulated.control import Guard, Regulator
from client.simulated.electrics import SensorChain
from client.simulated.heat import BED, NOZZLE, Air, Electronics, HotBlock
from client.simulated.rhythm import READING_S, STEP_S
from client.simulated.scenario import ProgramStep, Scenario

STEPS_PER_TICK = round(READING_S / STEP_S)
BOOT_S = 2.0
"""How long a controller that is just switched on takes to boot."""
ROOM_SWING_K = 0.4
ROOM_PERIOD_S = 5400.0
"""The room's temperature swings slowly, as a room with heating does. An assumption."""
HEATERS = ("nozzle", "bed")
SENSORS = ("nozzle", "bed", "chamber")


class Acting(Protocol):
    """A fault in action, as `client.simulated.acting` has them."""

    fault: Any
    label: str

    def act(self, plant: "Plant") -> bool:
        """Change what is physical or electrical; whether it showed in this tick."""
        ...


class Plant:
    """Everything physical, on a grid of STEP_S; `run_to` moves it on."""

    def __init__(self, scenario: Scenario, seed: int, actors: Sequence[Acting] = ()) -> None:
        self.time_s = 0.0
        self._ticks = 0
        self._steps = list(scenario.steps)
        start = scenario.start
        self._room_c = self.room_c = start.room_c
        self.air = Air(_or(start.chamber_c, start.room_c))
        self.electronics = Electronics(
            _or(start.board_c, start.room_c + Electronics.IDLE_W / Electronics.LOSS_W_K)
        )
        self.blocks = {
            "nozzle": HotBlock(NOZZLE, _or(start.nozzle_c, self.air.celsius)),
            "bed": HotBlock(BED, _or(start.bed_c, self.air.celsius)),
        }
        self.regulators = {"nozzle": Regulator(0.03, 35.0), "bed": Regulator(0.12, 120.0)}
        self.guards = {name: Guard(name, getattr(scenario.limits, name)) for name in HEATERS}
        self._grace_s = scenario.limits.grace_s
        self.carriage = Carriage(stream(seed, "carriage"))
        self.chains = {
            name: SensorChain(getattr(scenario.channels, name), stream(seed, f"chain {name}"))
            for name in SENSORS
        }
        self._board_rng = stream(seed, "board")
        self.board_c = self.electronics.celsius
        self.board_off_c = 0.0
        """Error of the board's own reading while its supply dips."""
        self.fan = 0.0
        self.alive_s = start.alive_s
        self.boot_left_s = 0.0 if start.alive_s > 0.0 else BOOT_S
        """Time that the controller still needs to boot; it reads and heats nothing meanwhile."""
        self.remark = ""
        """Why the machine was stopped; empty while it runs."""
        self._actors = actors
        self.acted: set[str] = set()
        """Faults that showed since `take_acted`."""
        self._obey()
        self._settle_heaters()
        self._tick()

    def run_to(self, time_s: float) -> None:
        """Move on to the last grid point at or before `time_s`."""
        steps = int((time_s - self.time_s) / STEP_S + 1e-6)
        for _ in range(steps):
            self._step()

    def take_acted(self) -> tuple[str, ...]:
        """Faults that showed since the last call, sorted."""
        acted = tuple(sorted(self.acted))
        self.acted.clear()
        return acted

    def restart_controller(self, boot_s: float) -> None:
        """Up time from 0 after `boot_s`; no heat meanwhile; the host sets its goals again."""
        self.alive_s = -boot_s
        self.boot_left_s = boot_s
        for name in HEATERS:
            self.regulators[name].cut()
            self.guards[name].forgive()

    def halt(self, remark: str) -> None:
        """Stop the machine: no goals, no power, no motion, until the end."""
        if self.remark:
            return
        self.remark = remark
        self.carriage.end()
        for regulator in self.regulators.values():
            regulator.goal_c = 0.0
            regulator.cut()

    def _step(self) -> None:
        self._ticks += 1
        self.time_s = time_s = self._ticks * STEP_S
        self.alive_s += STEP_S
        blocks, air = self.blocks, self.air
        nozzle, bed = blocks["nozzle"], blocks["bed"]
        carriage = self.carriage
        carriage.step(STEP_S)
        flow = carriage.rate_mm_s / 100.0
        room_c = self.room_c
        nozzle.step(self.regulators["nozzle"].power, air.celsius, self.fan, flow)
        bed.step(self.regulators["bed"].power, air.celsius, self.fan, 0.0)
        nozzle_w = NOZZLE.core_loss_w_k * (nozzle.core_c - air.celsius)
        air.step(STEP_S, room_c, bed.core_c, nozzle_w)
        self.electronics.step(STEP_S, room_c, carriage.is_printing)
        if self._ticks % STEPS_PER_TICK == 0:
            swing = math.sin(2.0 * math.pi * time_s / ROOM_PERIOD_S)
            self.room_c = self._room_c + ROOM_SWING_K * swing
            self._obey()
            self._tick()

    def _tick(self) -> None:
        """One reading of every sensor, and one setting of power."""
        chains = self.chains
        for chain in chains.values():
            chain.clear()
        self.board_off_c = 0.0
        for actor in self._actors:
            self._act(actor)
        board_noise = self._board_rng.gauss(0.0, 0.05)
        if self.boot_left_s > 1e-9:
            self.boot_left_s -= READING_S
            return
        chains["nozzle"].read(self.blocks["nozzle"].tip_c, READING_S)
        chains["bed"].read(self.blocks["bed"].tip_c, READING_S)
        chains["chamber"].read(self.air.celsius, READING_S)
        self.board_c = self.electronics.celsius + self.board_off_c + board_noise
        if not self.remark:
            self._regulate()

    def _act(self, actor: Acting) -> None:
        if actor.fault.at_s <= self.time_s < actor.fault.until_s and actor.act(self):
            self.acted.add(actor.label)

    def _regulate(self) -> None:
        for name in HEATERS:
            chain, guard, regulator = self.chains[name], self.guards[name], self.regulators[name]
            usable = not chain.flags and guard.is_usable(chain.celsius)
            regulator.tick(chain.celsius, usable)
            if self.alive_s < self._grace_s:
                guard.forgive()
            remark = guard.tick(chain.celsius, regulator.power)
            if remark:
                self.halt(remark)

    def _obey(self) -> None:
        """Do what the scenario's steps say up to now."""
        while self._steps and self._steps[0].at_s <= self.time_s + 1e-9:
            step = self._steps.pop(0)
            if not self.remark:
                self._do(step)

    def _do(self, step: ProgramStep) -> None:
        if step.nozzle_c is not None:
            self.regulators["nozzle"].goal_c = step.nozzle_c
        if step.bed_c is not None:
            self.regulators["bed"].goal_c = step.bed_c
        if step.fan is not None:
            self.fan = step.fan
        if step.mm_s is not None:
            self.carriage.mm_s = step.mm_s
        if step.printing is True:
            self.carriage.begin()
        elif step.printing is False:
            self.carriage.end()

    def _settle_heaters(self) -> None:
        """A heater that begins near its goal has been held there for long."""
        for name in HEATERS:
            block, regulator = self.blocks[name], self.regulators[name]
            if regulator.goal_c > 0.0 and abs(regulator.goal_c - block.tip_c) < 10.0:
                regulator.settle(block.settle(block.tip_c, self.air.celsius))


def stream(seed: int, name: str) -> random.Random:
    """Random numbers of one subsystem, whatever the others draw."""
    return random.Random(f"{seed} {name}")


def _or(value: float | None, other: float) -> float:
    return other if value is None else value
