"""Logs with known faults, and healthy ones: what the plant did, as a host would report it.

Every case draws what no test fixes: element, noise and its colour, period, rounding,
codes or degrees only, whole or changed-only updates. The size of each fault is drawn
from its documented minimum upward (`MINIMA`).
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.chain import Chain
from shared.converter import REFERENCES
from shared.platinum import celsius_array, ratio_array
from shared.updates import Batch, Floats
from shared.words import EVERY_CHANNEL, Kind
from tests.quality import plant
from tests.quality.plant import STEP_S, Run, Upsets

CASE_STEPS = 7200
"""Half an hour."""
ONSET_STEP = 4000
"""Faults begin after this: detectors have had 16 minutes to learn."""

WIDTHS = (14, 16, 18, 20, 24)
NOISE_OF_R0 = (6.5e-5, 4e-4)
"""Noise over R0: 17 to 105 mK."""
LEAST_NOISE_CODES = 0.5

MINIMA = {
    Kind.CONTACT_BREAK: "1 Ω, and 1.5 times what heat and noise can do between samples",
    Kind.SPIKE: "1.5 times what heat and noise can do between samples",
    Kind.BIT_FLIP: "a 256th of full scale (1.6 % of R0)",
    Kind.STEP: "1.5 times what heat and noise can do between samples",
    Kind.NOISE_RISE: "3 times the floor for 2 min",
    Kind.INTERFERENCE: "noise 2.5 times as large while moving; or 10 faults in one place",
    Kind.MAINS_BEAT: "amplitude 3 times the noise for 6 min",
    Kind.FROZEN: "72 samples and 72 s at a noise of half a step or more",
    Kind.STALE: "12 s, and 12 times the period",
    Kind.OFFSET_COLD: "5 K",
    Kind.DRIFT: "power 30 % up over 10 min at a held target",
    Kind.NO_RISE: "no heat for 3 min",
    Kind.RISE_UNPOWERED: "full heat at no power for 60 s",
    Kind.JOINT_JUMP: "1.5 times what heat and noise can do, on two channels",
}


@dataclass(frozen=True, slots=True)
class Label:
    """What is true: a fault of this kind on this channel in this time."""

    kind: Kind
    channel: str
    start_s: float
    end_s: float
    also: frozenset[Kind] = frozenset()
    """Kinds that are right as well."""


@dataclass(frozen=True, slots=True)
class Style:
    """How one host reports."""

    period_s: float
    chain: Chain
    with_code: bool
    decimals: int
    changes_only: bool
    noise_codes: float
    redness: float
    """Correlation of neighbouring noise."""

    @property
    def noise_ohm(self) -> float:
        return self.noise_codes * self.chain.step_ohm

    @property
    def heat_and_noise_ohm(self) -> float:
        """About what heat (10 K/s) and noise can do between two samples, Ω."""
        heat = 10.0 * self.period_s * self.chain.r0_ohm * 3.7e-3
        rounding = 0.0 if self.with_code else 2.0 * 10.0**-self.decimals * self.chain.r0_ohm * 4e-3
        return heat + 8.0 * self.noise_ohm + rounding


def draw_style(rng: np.random.Generator) -> Style:
    r0_ohm = 1000.0 if rng.random() < 0.3 else 100.0
    chain = Chain(
        r0_ohm=r0_ohm,
        reference_ohm=r0_ohm * float(rng.choice(REFERENCES)),
        bits=int(rng.choice(WIDTHS)),
        told=None if rng.random() < 0.5 else (),
    )
    noise_ohm = float(rng.uniform(*NOISE_OF_R0)) * r0_ohm
    return Style(
        period_s=float(rng.choice([0.25, 0.25, 0.5, 1.0])),
        chain=chain,
        with_code=bool(rng.random() < 0.7),
        decimals=int(rng.choice([1, 2, 2])),
        changes_only=bool(rng.random() < 0.5),
        noise_codes=max(noise_ohm / chain.step_ohm, LEAST_NOISE_CODES),
        redness=float(rng.choice([0.0, 0.3])),
    )


@dataclass(slots=True)
class Rows:
    """One machine's log before it is written: arrays of shape (n,) at the sampled rows."""

    style: Style
    step: NDArray[np.int64]
    time_s: Floats
    ohm: dict[str, Floats]
    columns: dict[str, Floats]
    uptime_s: Floats
    texts: dict[str, list[tuple[int, str]]] = field(default_factory=dict)
    silent: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    alone: list[tuple[float, str, str]] = field(default_factory=list)
    """Updates with nothing but a text: time, key, text."""
    codes: dict[str, Floats] = field(default_factory=dict)
    """Codes as they will be sent; made by `convert`, changed by faults of the converter."""

    def at(self, step: int) -> int:
        return int(np.searchsorted(self.step, step))

    def rows_for(self, seconds: float) -> int:
        return max(1, round(seconds / self.style.period_s))


def sample(run: Run, machine: int, style: Style, rng: np.random.Generator) -> Rows:
    """What the plant's sensors would read, with noise, before conversion."""
    stride = round(style.period_s / STEP_S)
    steps = np.arange(0, len(run.time_s), stride)
    n = len(steps)
    time_s = np.round(run.time_s[steps, machine] + rng.uniform(0.0, 0.1 * style.period_s, n), 4)
    white = rng.normal(size=(3, n))
    noise = white.copy()
    for i in range(1, n):
        noise[:, i] = style.redness * noise[:, i - 1] + np.sqrt(1 - style.redness**2) * white[:, i]
    ohm = {
        name: style.chain.r0_ohm * ratio_array(truth[steps, machine]) + style.noise_ohm * noise[k]
        for k, (name, truth) in enumerate(
            (("nozzle", run.nozzle_c), ("bed", run.bed_c), ("chamber", run.chamber_c))
        )
    }
    orders = run.orders
    columns = {
        "nozzle.target_c": orders.nozzle_c[steps, machine],
        "nozzle.power": np.round(run.nozzle_power[steps, machine], 3),
        "bed.target_c": orders.bed_c[steps, machine],
        "bed.power": np.round(run.bed_power[steps, machine], 3),
        "motion.x_mm": np.round(run.x_mm[steps, machine], 2),
        "motion.y_mm": np.round(run.y_mm[steps, machine], 2),
        "motion.speed_mm_s": np.round(run.speed_mm_s[steps, machine], 1),
        "fan.speed": orders.fan[steps, machine],
    }
    rows = Rows(style, steps, time_s, ohm, columns, time_s + float(rng.uniform(500.0, 9000.0)))
    rows.silent = np.zeros(n, dtype=bool)
    return rows


def convert(rows: Rows) -> None:
    """Ohms to codes, saturating."""
    chain = rows.style.chain
    top = (1 << chain.bits) - 1
    for name, ohm in rows.ohm.items():
        codes = np.round(ohm / chain.reference_ohm * (1 << chain.bits))
        rows.codes[name] = np.clip(codes, 0, top)


def written(rows: Rows) -> Batch:
    """The log as a host sends it."""
    style, chain = rows.style, rows.style.chain
    numbers = dict(rows.columns)
    for name, code in rows.codes.items():
        ohm = code * chain.step_ohm
        shown = celsius_array(np.clip(ohm, 0.2 * chain.r0_ohm, 3.9 * chain.r0_ohm), chain.r0_ohm)
        numbers[f"{name}.temperature_c"] = np.round(shown, style.decimals)
        if style.with_code:
            numbers[f"{name}.code"] = code
    numbers["controller.uptime_s"] = np.round(rows.uptime_s, 2)
    keep = ~rows.silent
    index = np.cumsum(keep) - 1
    texts = {
        key: [(int(index[row]), text) for row, text in pairs if keep[row]]
        for key, pairs in rows.texts.items()
    }
    numbers = {key: column[keep].astype(float) for key, column in numbers.items()}
    if style.changes_only:
        for key, column in numbers.items():
            same = np.diff(column, prepend=np.nan) == 0.0
            numbers[key] = np.where(same, np.nan, column)
    return _with_alone(Batch(rows.time_s[keep], numbers, texts), rows.alone)


def _with_alone(batch: Batch, alone: list[tuple[float, str, str]]) -> Batch:
    """Put the text-only updates at their places."""
    if not alone:
        return batch
    times = np.array([item[0] for item in alone])
    at = np.searchsorted(batch.time_s, times)
    shift = np.arange(len(batch)) + np.searchsorted(at, np.arange(len(batch)), side="right")
    texts = {key: [(int(shift[row]), text) for row, text in p] for key, p in batch.texts.items()}
    for k, (_, key, text) in enumerate(alone):
        texts.setdefault(key, []).append((int(at[k]) + k, text))
    return Batch(
        np.insert(batch.time_s, at, times),
        {key: np.insert(column, at, np.nan) for key, column in batch.numbers.items()},
        {key: sorted(pairs) for key, pairs in texts.items()},
    )


@dataclass(slots=True)
class Case:
    """One log to judge."""

    name: str
    batch: Batch
    chains: dict[str, Chain]
    labels: list[Label]
    hours: float


Fault = Callable[[Rows, np.random.Generator], list[Label]]
"""Breaks a log (before conversion where it touches ohms); what is then true."""


def case(name: str, rows: Rows, labels: list[Label]) -> Case:
    chains = dict.fromkeys(("nozzle", "bed", "chamber"), rows.style.chain)
    hours = float(rows.time_s[-1] - rows.time_s[0]) / 3600.0
    return Case(name, written(rows), chains, labels, hours)


def healthy(seed: int, machines: int, hours: float) -> Iterator[Case]:
    """Nights of prints, target changes, cool-downs, idle and fan steps."""
    rng = np.random.default_rng(seed)
    steps = int(hours * 3600 / STEP_S)
    run = plant.run(rng, plant.print_orders(rng, steps, machines, busy=False), warm=False)
    for machine in range(machines):
        rows = sample(run, machine, draw_style(rng), rng)
        convert(rows)
        yield case("healthy", rows, [])


def faulty(name: str, seed: int, machines: int) -> Iterator[Case]:
    """Half-hour logs of one fault each, from `tests.quality.faults.FAULTS`."""
    from tests.quality.faults import FAULTS

    spec = FAULTS[name]
    rng = np.random.default_rng([seed, *name.encode()])
    orders = plant.print_orders(rng, CASE_STEPS, machines)
    upsets = plant.no_upsets(CASE_STEPS, machines)
    spec.prepare(orders, upsets, rng)
    run = plant.run(rng, orders, upsets, warm=spec.warm)
    for machine in range(machines):
        style = draw_style(rng)
        if spec.needs_code:
            style = Style(**{**{f: getattr(style, f) for f in style.__slots__}, "with_code": True})
        rows = sample(run, machine, style, rng)
        rows.ohm["nozzle"] += (
            upsets.reads_more_c[rows.step, machine] * style.chain.r0_ohm * 3.735e-3
        )
        labels = spec.wiring(rows, rng)
        convert(rows)
        labels += spec.conversion(rows, rng)
        labels += spec.known(rows, upsets, machine)
        yield case(name, rows, labels)


__all__ = [
    "EVERY_CHANNEL",
    "MINIMA",
    "ONSET_STEP",
    "Case",
    "Label",
    "Rows",
    "Style",
    "Upsets",
    "faulty",
    "healthy",
]
