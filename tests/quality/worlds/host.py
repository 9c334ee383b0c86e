"""How a host reports, drawn at random: how often, in what form, and what it keeps to itself.

Ranges: a reading each 0.05 to 10 s; jitter to 30 %; up to 4 % of updates lost, at most two on
end; bursts of 2 to 5; the rest yes or no. All are judgement of what hosts may do.
"""

from dataclasses import dataclass
from typing import Literal

from tests.quality.worlds.machine import Rng, log_uniform

Form = Literal["whole", "changes", "in turns"]
PowerForm = Literal["duty", "mean", "instant", "late", "silent"]
FORMS: tuple[Form, ...] = ("whole", "changes", "in turns")
POWER_FORMS: tuple[PowerForm, ...] = ("duty", "mean", "instant", "late", "silent")
COMMON_S = (0.1, 0.25, 0.25, 0.5, 0.5, 1.0, 1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class Host:
    """Of one host. Times in s; `converts_s`: from one conversion to the next.

    step_k   steps that degrees are rounded to, K; 0: thousandths
    """

    period_s: float
    converts_s: float
    jitter: float
    lost: float
    burst: int
    form: Form
    step_k: float
    codes: bool
    ohms: bool
    flags: bool
    cuts: bool
    """Whether degrees beyond −50 and 500 °C are cut off."""
    power: PowerForm
    power_step: float
    target: bool
    fan: bool
    motion: bool
    feed: bool
    uptime: bool
    uptime_step: float
    state: bool
    chain_told: bool
    origin_s: float
    clock_step: float
    clock_ppm: float

    @property
    def steady_s(self) -> float:
        """From one reading of a channel to the next fresh one, s, when nothing is lost."""
        return max(self.period_s, self.converts_s)


def draw_host(rng: Rng) -> Host:
    """A host that nobody has tuned to."""
    common = float(rng.choice(COMMON_S))
    period_s = common if rng.random() < 0.6 else round(log_uniform(rng, 0.05, 10.0), 2)
    step_s = step_of(period_s)
    faster = float(rng.uniform(0.2, 1.0)) if rng.random() < 0.8 else float(rng.uniform(1.5, 3.0))
    converts = max(1, round(min(period_s * faster, 1.0) / step_s))
    codes = bool(rng.random() < 0.45)
    clock_step = float(rng.choice([0.0001, 0.001, 0.01]))
    uptime_step = float(rng.choice([0.01, 0.1, 1.0]))
    step_k = float(rng.choice([0.0, 0.01, 0.01, 0.1, 0.1, 0.25, 1.0]))
    return Host(
        period_s=period_s,
        converts_s=converts * step_s,
        jitter=float(rng.choice([0.0, 0.01, 0.05, 0.3])),
        lost=float(rng.choice([0.0, 0.0, 0.005, 0.04])),
        burst=int(rng.choice([1, 1, 1, 1, 1, 1, 2, 5])),
        form=FORMS[int(rng.choice(3, p=[0.5, 0.3, 0.2]))],
        step_k=step_k,
        codes=codes,
        ohms=bool(rng.random() < 0.3),
        flags=bool(rng.random() < 0.4),
        cuts=bool(rng.random() < 0.15),
        power=POWER_FORMS[int(rng.choice(5, p=[0.35, 0.2, 0.2, 0.1, 0.15]))],
        power_step=float(rng.choice([0.001, 0.01, 1.0 / 255.0])),
        target=bool(rng.random() < 0.85),
        fan=bool(rng.random() < 0.6),
        motion=bool(rng.random() < 0.55),
        feed=bool(rng.random() < 0.35),
        uptime=bool(rng.random() < 0.5),
        uptime_step=uptime_step,
        state=bool(rng.random() < 0.5),
        chain_told=bool(rng.random() < 0.5),
        origin_s=float(rng.choice([0.0, 1_790_000_000.0, 54_321.25])),
        clock_step=clock_step,
        clock_ppm=float(rng.uniform(-200.0, 200.0)),
    )


def step_of(period_s: float) -> float:
    """Step of the simulation, s: no coarser than a host's readings."""
    return 0.05 if period_s < 0.1 else 0.1
