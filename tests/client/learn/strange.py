"""Hosts that nobody has seen: from a seed, a dialect of its own and a machine that heats.

Transports, framings, names, nesting, units, envelopes, lists, positional parameters, clocks,
state words and chains are drawn at random; the numbers are a first-order heater under a
proportional controller with measurement noise, so that what is true is known.
"""

import json
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from client.form import Request
from shared.platinum import ohms
from shared.updates import Entry, EntryKind
from tests.client.learn.ways import Way, drawn

SYLLABLES = ["zo", "rb", "ka", "lu", "mi", "fen", "dra", "sku", "po", "wex", "tiv", "gra", "nul"]
QUANTITIES: dict[str, list[str]] = {
    "temperature": ["temp", "temperature", "reading", "actual", "measured deg", "Temp now", "t"],
    "target": ["target", "goal", "set", "setpoint", "want", "desired/deg", "aim"],
    "power": ["power", "duty", "drive", "pwm", "output", "effort"],
    "code": ["code", "raw", "adc", "counts"],
    "ohm": ["ohm", "resistance", "ohms"],
}
CHANNELS: dict[str, list[str]] = {
    "nozzle": [
        "nozzle",
        "Hot End",
        "extruder",
        "hotend",
        "print head",
        "nozzle~1",
        "Nozzle (left)",
    ],
    "bed": ["bed", "Heated Bed", "plate", "build plate", "bed/front"],
    "chamber": ["chamber", "enclosure", "Cabinet Air"],
    "board": ["board", "electronics", "main board"],
}
STATES = ["ready", "wide awake", "sulking", "up and well", "running", "zorbing"]
REFERENCES = [390.0, 402.0, 412.0, 422.0, 430.0]
"""Ω: values of E24 and E96 (IEC 60063) of about four times R0."""
BITS = [12, 14, 15, 16, 18, 20, 24]
STEP_S = 0.25
MESSAGES = 160


@dataclass
class Truth:
    """What one channel really was at one message."""

    celsius: float
    target: float | None
    power: float | None


@dataclass
class StrangeHost:
    """One host: its entries, what must be sent to it, and what was true of its nozzle."""

    seed: int
    way: Way
    requests: list[Request] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    nozzle: list[Truth] = field(default_factory=list)
    """By entry, as last sent."""
    traits: dict[str, Any] = field(default_factory=dict)


class Heater:
    """First order, proportional control, measured with noise."""

    def __init__(self, rng: random.Random, goals: tuple[float, float] | None, at: float) -> None:
        self.rng, self.goals, self.true, self.goal, self.power = rng, goals, at, 0.0, 0.0
        self.ambient = at
        self.shown = at

    def step(self, n: int) -> None:
        if self.goals is not None:
            self.goal = self.goals[0] if n < MESSAGES * 0.15 else self.goals[1]
            error = self.goal - self.true
            hold = 0.55 * max(self.goal - self.ambient, 0.0) / 250.0
            self.power = min(max(hold + 0.02 * error, 0.0), 1.0) if self.goal else 0.0
        flow = self.power * 26.0 - (self.true - self.ambient) * 0.055
        self.true += flow * STEP_S
        self.shown = self.true + self.rng.gauss(0.0, 0.06)


def make(seed: int) -> StrangeHost:
    """The host of this seed; the same each time."""
    rng = random.Random(seed)
    host = StrangeHost(seed, drawn(random.Random(f"way {seed}")))
    dialect = _Dialect(rng, seed)
    host.traits = dialect.traits
    heaters = {
        "nozzle": Heater(
            rng, (rng.choice([0.0, 0.0, 150.0]), rng.choice([200.0, 215.0, 240.0])), 22.5
        ),
        "bed": Heater(rng, (0.0, rng.choice([0.0, 60.0])), 22.3),
        "chamber": Heater(rng, None, 23.1),
        "board": Heater(rng, None, 31.0),
    }
    channels = ["nozzle", *rng.sample(["bed", "chamber", "board"], rng.randint(1, 3))]
    sent: dict[str, dict[str, Any]] = {}
    truth = Truth(0.0, None, None)
    own_s = 5000.0 + rng.random() * 1000.0
    if dialect.asks:
        host.requests = [Request(json=json.dumps(dialect.request), envelope=not dialect.bare)]
    for n in range(MESSAGES):
        for heater in heaters.values():
            heater.step(n)
        status: dict[str, dict[str, Any]] = {}
        for name in channels:
            status[name] = dialect.quantities(name, heaters[name])
        whole = n == 0 or not dialect.changes_only
        delta = {
            name: {q: v for q, v in values.items() if whole or sent.get(name, {}).get(q) != v}
            for name, values in status.items()
        }
        delta = {name: values for name, values in delta.items() if values}
        sent = status
        nozzle = heaters["nozzle"]
        truth = Truth(nozzle.shown, nozzle.goal, nozzle.power)
        jitter = rng.random() * 0.03
        for message in dialect.messages(n, delta, whole):
            payload = json.dumps(message).encode()
            host.entries.append(Entry(own_s + n * STEP_S + jitter, EntryKind.MESSAGE, payload))
            host.nozzle.append(truth)
    return host


class _Dialect:
    """How one host talks."""

    def __init__(self, rng: random.Random, seed: int) -> None:
        self.rng = rng
        chain = random.Random(f"chain {seed}")
        self.reference, self.bits = chain.choice(REFERENCES), chain.choice(BITS)
        self.gibberish = rng.random() < 0.3
        layouts = [
            "nested",
            "nested",
            "list",
            "list",
            "by quantity",
            "flat",
            "pairs",
            "each",
            "arrays",
        ]
        self.layout = rng.choice(layouts)
        if self.gibberish and self.layout in ("flat", "pairs"):
            self.layout = "nested"
        self.envelope = rng.choice(["object", "positional", "time first", "bare"])
        self.bare = self.envelope == "bare"
        self.asks = rng.random() < 0.7
        self.changes_only = rng.random() < 0.7 and self.layout != "arrays"
        self.unit = rng.choice(["C", "C", "C", "K", "F"])
        self.power_scale = rng.choice([1.0, 1.0, 100.0])
        self.clock = rng.choice(["s", "ms", "iso", "none", "epoch"])
        self.as_text = rng.random() < 0.06
        self.has = {q for q in ("code", "ohm") if rng.random() < 0.35}
        self.names = {q: self._word(choices) for q, choices in QUANTITIES.items()}
        self.channels = {c: self._word(choices) for c, choices in CHANNELS.items()}
        self.holder = [self._word(["thermals", "sensors", "heaters", "things"])][
            : rng.randint(0, 1)
        ]
        self.top = self._word(["status", "state of things", "data", "now"])
        self.when = self._word(["time", "at", "clock", "stamp"])
        self.method = self._word(["news", "it changed", "telemetry", "status update"])
        self.request = {"method": self._word(["begin", "tell me", "listen"]), "params": ["all"]}
        self.name_key = self._word(["name", "what is it", "id", "label"])
        self.value_key = self._word(["value", "now", "v"])
        self.state = rng.choice(STATES)
        self.state_key = self._word(["mood", "state", "phase"])
        self.position = rng.choice(["array", "axes", "none"])
        self.position_key = self._word(["where", "position", "xyz"])
        self.noise_key = self._word(["count", "seq", "version"])
        self.xyz = [10.0, 20.0, 0.2]
        self.traits = {
            name: getattr(self, name)
            for name in ("layout", "gibberish", "envelope", "asks", "changes_only", "unit")
        } | {
            "power": self.power_scale,
            "clock": self.clock,
            "has": sorted(self.has),
            "text": self.as_text,
        }

    def _word(self, choices: list[str]) -> str:
        if self.gibberish:
            return "".join(self.rng.sample(SYLLABLES, self.rng.randint(2, 3)))
        return self.rng.choice(choices)

    def _degrees(self, celsius: float) -> float:
        if self.unit == "K":
            return round(celsius + 273.15, 2)
        return round(celsius * 1.8 + 32.0, 2) if self.unit == "F" else round(celsius, 2)

    def quantities(self, name: str, heater: Heater) -> dict[str, Any]:
        found: dict[str, Any] = {"temperature": self._degrees(heater.shown)}
        if heater.goals is not None:
            found["target"] = self._degrees(heater.goal)
            found["power"] = round(heater.power * self.power_scale, 3)
        if name == "nozzle":
            ohm = ohms(heater.shown)
            if "code" in self.has:
                found["code"] = round(ohm / self.reference * 2**self.bits)
            if "ohm" in self.has:
                found["ohm"] = round(ohm, 3)
        return {q: str(v) if self.as_text else v for q, v in found.items()}

    def messages(self, n: int, delta: dict[str, dict[str, Any]], whole: bool) -> list[Any]:
        if self.layout == "each":
            return [
                self._wrapped(n, {self.name_key: self.channels[c], **self._renamed(values)}, True)
                for c, values in delta.items()
            ]
        status = self._laid_out(delta, whole)
        if self.position != "none" and (whole or n % 3 == 0):
            self.xyz = [self.rng.uniform(0, 200), self.rng.uniform(0, 200), 0.2 + n * 0.01]
            rounded = [round(v, 2) for v in self.xyz]
            axes = dict(zip("xyz", rounded, strict=True))
            status[self.position_key] = rounded if self.position == "array" else axes
        if whole:
            status[self.state_key] = self.state
            status[self.noise_key + " max"] = 300
        return [self._wrapped(n, status, False)]

    def _renamed(self, values: dict[str, Any]) -> dict[str, Any]:
        return {self.names[q]: v for q, v in values.items()}

    def _laid_out(self, delta: dict[str, dict[str, Any]], whole: bool) -> dict[str, Any]:
        inner: Any = {}
        if self.layout == "nested":
            inner = {self.channels[c]: self._renamed(values) for c, values in delta.items()}
        elif self.layout == "list":
            inner = [
                {self.name_key: self.channels[c], **self._renamed(v)} for c, v in delta.items()
            ]
            self.rng.shuffle(inner)
            return {(self.holder or ["list"])[0]: inner}
        elif self.layout == "by quantity":
            for c, values in delta.items():
                for q, v in values.items():
                    inner.setdefault(self.names[q], {})[self.channels[c]] = v
        elif self.layout == "flat":
            inner = {
                f"{self.channels[c]}_{self.names[q]}": v
                for c, vs in delta.items()
                for q, v in vs.items()
            }
        elif self.layout == "pairs":
            return {
                (self.holder or ["changes"])[0]: [
                    {self.name_key: f"{self.channels[c]} {self.names[q]}", self.value_key: v}
                    for c, vs in delta.items()
                    for q, v in vs.items()
                ]
            }
        else:
            order = list(delta)
            inner = {self.names["temperature"]: [delta[c]["temperature"] for c in order]}
            inner[self.names["target"]] = [delta[c].get("target", 0) for c in order]
            inner[self.names["power"]] = [delta[c].get("power", 0) for c in order]
            inner[self.name_key + "s"] = [self.channels[c] for c in order]
        return {self.holder[0]: inner} if self.holder else dict(inner)

    def _clock(self, n: int) -> Any:
        s = 1234.5 + n * STEP_S
        makers: dict[str, Callable[[], Any]] = {
            "s": lambda: s,
            "ms": lambda: round(s * 1000),
            "epoch": lambda: 1.75e9 + s,
            "iso": lambda: datetime.fromtimestamp(1.75e9 + s, UTC).isoformat(),
        }
        return makers[self.clock]() if self.clock in makers else None

    def _wrapped(self, n: int, status: Any, each: bool) -> Any:
        when = self._clock(n)
        if self.bare:
            return {self.top: status} | ({self.when: when} if when is not None else {})
        if self.envelope == "object":
            body: Any = {self.top: status} | ({self.when: when} if when is not None else {})
        else:
            body = [status] if when is None else [status, when]
            if self.envelope == "time first":
                body.reverse()
        if n == 0 and self.asks and not each:
            return {"jsonrpc": "2.0", "id": 1, "result": body}
        return {"jsonrpc": "2.0", "method": self.method, "params": body}
