"""One fault for each event kind, put into the plant, the wiring, the conversion or the link."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from shared.words import EVERY_CHANNEL, Kind
from tests.quality.cases import ONSET_STEP, Label, Rows, Upsets
from tests.quality.plant import STEP_S, Orders

Rng = np.random.Generator


def _nothing_prepared(orders: Orders, upsets: Upsets, rng: Rng) -> None:
    """The plant is healthy."""


def _no_labels(rows: Rows, rng: Rng) -> list[Label]:
    return []


def _none_known(rows: Rows, upsets: Upsets, machine: int) -> list[Label]:
    return []


@dataclass(frozen=True, slots=True)
class Fault:
    """Where a fault enters: before the run, in the wiring (ohms), or in codes and link."""

    prepare: Callable[[Orders, Upsets, Rng], None] = _nothing_prepared
    wiring: Callable[[Rows, Rng], list[Label]] = _no_labels
    conversion: Callable[[Rows, Rng], list[Label]] = _no_labels
    known: Callable[[Rows, Upsets, int], list[Label]] = _none_known
    needs_code: bool = False
    warm: bool = True


def _onsets(rows: Rows, rng: Rng, count: int, apart_s: float) -> list[int]:
    """Rows at which occurrences begin, some time apart, after the onset."""
    first = rows.at(ONSET_STEP)
    gap = rows.rows_for(apart_s)
    return [first + k * gap + int(rng.integers(0, gap // 2)) for k in range(count)]


def _label(
    rows: Rows, kind: Kind, first: int, last: int, *also: Kind, channel: str = "nozzle"
) -> Label:
    end = min(last, len(rows.time_s) - 1)
    start_s, end_s = float(rows.time_s[first]), float(rows.time_s[end])
    return Label(kind, channel, start_s, end_s, frozenset(also))


# -- conversion --


def _rail(kind: Kind) -> Fault:
    def convert(rows: Rows, rng: Rng) -> list[Label]:
        (first,) = _onsets(rows, rng, 1, 60.0)
        last = first + rows.rows_for(float(rng.uniform(15.0, 90.0)))
        top = (1 << rows.style.chain.bits) - 1
        rows.codes["nozzle"][first:last] = top if kind is Kind.CODE_HIGH else 0
        return [_label(rows, kind, first, last)]

    return Fault(conversion=convert, needs_code=True)


def _flag(rows: Rows, rng: Rng) -> list[Label]:
    labels = []
    for first in _onsets(rows, rng, 2, 120.0):
        last = first + rows.rows_for(float(rng.uniform(0.25, 20.0)))
        word = str(rng.choice(["open", "short", "input-out-of-range"]))
        rows.texts.setdefault("nozzle.flags", []).extend([(first, word), (last, "none")])
        labels.append(_label(rows, Kind.CONVERTER_FLAG, first, last))
    return labels


def _full_breaks(rows: Rows, rng: Rng) -> list[Label]:
    firsts = _onsets(rows, rng, 5, 30.0)
    top = (1 << rows.style.chain.bits) - 1
    for first in firsts:
        rows.codes["nozzle"][first : first + rows.rows_for(float(rng.uniform(0.25, 2.0)))] = top
    return [_label(rows, Kind.CONTACT_BREAK, firsts[0], firsts[-1] + 2, Kind.CODE_HIGH)]


def _bit_flips(rows: Rows, rng: Rng) -> list[Label]:
    firsts = _onsets(rows, rng, 3, 60.0)
    for first in firsts:
        bit = int(rng.integers(7, 12))
        rows.codes["nozzle"][first] = float(int(rows.codes["nozzle"][first]) ^ (1 << bit))
    return [_label(rows, Kind.BIT_FLIP, firsts[0], firsts[-1])]


def _frozen(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    # A thousand million to one against chance takes about 54 samples at half a step of noise.
    least = max(60, rows.rows_for(60.0))
    last = first + int(least * rng.uniform(1.2, 4.0))
    rows.codes["nozzle"][first:last] = rows.codes["nozzle"][first]
    return [_label(rows, Kind.FROZEN, first, last, Kind.STEP, Kind.SPIKE, Kind.NO_RISE)]


# -- wiring --


def _partial_breaks(rows: Rows, rng: Rng) -> list[Label]:
    firsts = _onsets(rows, rng, 6, 30.0)
    least = max(1.0, 1.5 * rows.style.heat_and_noise_ohm)
    for first in firsts:
        last = first + max(1, rows.rows_for(float(rng.uniform(0.25, 4.0))))
        rows.ohm["nozzle"][first:last] += rng.uniform(least, max(30.0, 2.0 * least))
    return [_label(rows, Kind.CONTACT_BREAK, firsts[0], firsts[-1] + 2, Kind.SPIKE)]


def _spikes(rows: Rows, rng: Rng) -> list[Label]:
    firsts = _onsets(rows, rng, 4, 40.0)
    for k, first in enumerate(firsts):
        size = rows.style.heat_and_noise_ohm * rng.uniform(1.5, 8.0)
        rows.ohm["nozzle"][first] += size if k % 2 else -size
    return [_label(rows, Kind.SPIKE, firsts[0], firsts[-1], Kind.CONTACT_BREAK)]


def _noise_rise(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    last = first + rows.rows_for(float(rng.uniform(120.0, 400.0)))
    floor = max(rows.style.noise_ohm, rows.style.chain.step_ohm * 0.5)
    if not rows.style.with_code:
        floor = max(floor, 0.5 * 10.0**-rows.style.decimals * rows.style.chain.r0_ohm * 3.7e-3)
    more = rng.normal(0.0, floor * rng.uniform(3.0, 8.0), last - first)
    rows.ohm["nozzle"][first:last] += more
    return [_label(rows, Kind.NOISE_RISE, first, last, Kind.SPIKE, Kind.INTERFERENCE)]


def _noise_with_motion(rows: Rows, rng: Rng) -> list[Label]:
    first = rows.at(400)
    moving = rows.columns["motion.speed_mm_s"] > 0.0
    moving[:first] = False
    floor = max(rows.style.noise_ohm, rows.style.chain.step_ohm * 0.5)
    if not rows.style.with_code:
        floor = max(floor, 0.5 * 10.0**-rows.style.decimals * rows.style.chain.r0_ohm * 3.7e-3)
    size = floor * rng.uniform(2.5, 6.0)
    rows.ohm["nozzle"][moving] += rng.normal(0.0, size, int(moving.sum()))
    end = len(rows.time_s) - 1
    return [_label(rows, Kind.INTERFERENCE, first, end, Kind.NOISE_RISE, Kind.SPIKE)]


def _breaks_at_position(rows: Rows, rng: Rng) -> list[Label]:
    x, speed = rows.columns["motion.x_mm"], rows.columns["motion.speed_mm_s"]
    edge = 140.0
    there = np.flatnonzero((x > edge) & (speed > 0.0))
    there = there[there > rows.at(400)]
    chosen = np.sort(rng.choice(there, min(10, len(there)), replace=False))
    least = max(1.0, 1.5 * rows.style.heat_and_noise_ohm)
    for row in chosen:
        rows.ohm["nozzle"][row] += rng.uniform(least, max(30.0, 2.0 * least))
    also = (Kind.CONTACT_BREAK, Kind.SPIKE)
    end = len(rows.time_s) - 1
    return [_label(rows, Kind.INTERFERENCE, int(chosen[0]), end, *also)]


def _mains_beat(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    last = first + rows.rows_for(float(rng.uniform(360.0, 700.0)))
    top = 0.4 / rows.style.period_s
    hertz = rng.uniform(0.1, top)
    floor = max(rows.style.noise_ohm, rows.style.chain.step_ohm * 0.5)
    if not rows.style.with_code:
        floor = max(floor, 10.0**-rows.style.decimals * rows.style.chain.r0_ohm * 3.7e-3)
    wave = np.sin(2.0 * np.pi * hertz * rows.time_s[first:last])
    rows.ohm["nozzle"][first:last] += 3.0 * floor * wave
    return [_label(rows, Kind.MAINS_BEAT, first, last, Kind.NOISE_RISE)]


def _joint_jump(rows: Rows, rng: Rng) -> list[Label]:
    firsts = _onsets(rows, rng, 2, 150.0)
    labels = []
    for first in firsts:
        last = first + int(rng.integers(1, 4))
        for name in ("nozzle", "bed", "chamber"):
            size = rows.style.heat_and_noise_ohm * rng.uniform(1.5, 6.0)
            rows.ohm[name][first:last] -= size
        labels.append(_label(rows, Kind.JOINT_JUMP, first, last, channel=EVERY_CHANNEL))
    return labels


def _offset_cold(rows: Rows, rng: Rng) -> list[Label]:
    rows.ohm["nozzle"] += rng.uniform(5.0, 15.0) * rows.style.chain.r0_ohm * 3.85e-3
    return [_label(rows, Kind.OFFSET_COLD, 0, rows.at(1800))]


# -- link and host --


def _stale(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    length = max(12.0, 12.0 * rows.style.period_s) * rng.uniform(1.1, 3.0)
    last = first + rows.rows_for(float(length))
    rows.silent[first:last] = True
    return [_label(rows, Kind.STALE, first, last, channel=EVERY_CHANNEL)]


def _link_loss(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    last = first + rows.rows_for(float(rng.uniform(8.0, 60.0)))
    rows.silent[first:last] = True
    rows.alone.append((float(rows.time_s[first]), "host.state", "gone"))
    rows.texts.setdefault("host.state", []).append((last, "up"))
    return [_label(rows, Kind.LINK_LOSS, first, last, Kind.STALE, channel=EVERY_CHANNEL)]


def _restart(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    rows.uptime_s[first:] = rows.time_s[first:] - rows.time_s[first] + 0.5
    return [_label(rows, Kind.RESTART, first, first, channel=EVERY_CHANNEL)]


def _startup_transient(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    rows.uptime_s[first:] = rows.time_s[first:] - rows.time_s[first] + 0.5
    last = first + rows.rows_for(float(rng.uniform(15.0, 35.0)))
    top = (1 << rows.style.chain.bits) - 1
    fade = np.linspace(1.0, 0.0, last - first) ** 2
    absurd = np.round(rng.uniform(0.0, top, last - first))
    codes = rows.codes["nozzle"]
    codes[first:last] = np.round(fade * absurd + (1.0 - fade) * codes[first:last])
    return [_label(rows, Kind.STARTUP_TRANSIENT, first, last, Kind.RESTART)]


def _halt(rows: Rows, rng: Rng) -> list[Label]:
    (first,) = _onsets(rows, rng, 1, 60.0)
    rows.texts.setdefault("host.state", []).append((first, "halted"))
    return [_label(rows, Kind.HALT, first, first, channel=EVERY_CHANNEL)]


# -- heat --


def _prepare_step(orders: Orders, upsets: Upsets, rng: Rng) -> None:
    for machine in range(upsets.seat.shape[1]):
        at = ONSET_STEP + int(rng.integers(0, 400))
        upsets.reads_more_c[at:, machine] = rng.uniform(25.0, 45.0) * rng.choice([-1.0, 1.0])


def _known_step(rows: Rows, upsets: Upsets, machine: int) -> list[Label]:
    at = int(np.flatnonzero(upsets.reads_more_c[:, machine])[0])
    first = rows.at(at)
    return [_label(rows, Kind.STEP, first, first + 2, Kind.DRIFT, Kind.NO_RISE)]


def _prepare_drift(orders: Orders, upsets: Upsets, rng: Rng) -> None:
    orders.fan[:] = orders.fan[0]
    ramp = np.clip((np.arange(len(upsets.seat)) - ONSET_STEP) / 2400.0, 0.0, 1.0)
    for machine in range(upsets.seat.shape[1]):
        upsets.seat[:, machine] = 1.0 - rng.uniform(0.25, 0.4) * ramp


def _known_drift(rows: Rows, upsets: Upsets, machine: int) -> list[Label]:
    first, last = rows.at(ONSET_STEP), len(rows.time_s) - 1
    return [_label(rows, Kind.DRIFT, first, last, Kind.NO_RISE)]


def _prepare_dead_heater(orders: Orders, upsets: Upsets, rng: Rng) -> None:
    upsets.heater_works[ONSET_STEP : ONSET_STEP + int(180.0 / STEP_S)] = 0.0


def _known_dead_heater(rows: Rows, upsets: Upsets, machine: int) -> list[Label]:
    first, last = rows.at(ONSET_STEP), rows.at(ONSET_STEP + int(180.0 / STEP_S))
    return [_label(rows, Kind.NO_RISE, first, last, Kind.DRIFT)]


def _prepare_stuck_heater(orders: Orders, upsets: Upsets, rng: Rng) -> None:
    orders.nozzle_c[ONSET_STEP - 1200 :] = 0.0
    upsets.heater_stuck[ONSET_STEP : ONSET_STEP + int(60.0 / STEP_S)] = 1.0


def _known_stuck_heater(rows: Rows, upsets: Upsets, machine: int) -> list[Label]:
    first, last = rows.at(ONSET_STEP), rows.at(ONSET_STEP + int(90.0 / STEP_S))
    return [_label(rows, Kind.RISE_UNPOWERED, first, last)]


def _prepare_cold_start(orders: Orders, upsets: Upsets, rng: Rng) -> None:
    for part in (orders.nozzle_c, orders.bed_c, orders.moving, orders.fan):
        part[:1600] = 0.0


FAULTS: dict[str, Fault] = {
    "code-high": _rail(Kind.CODE_HIGH),
    "code-low": _rail(Kind.CODE_LOW),
    "converter-flag": Fault(conversion=_flag),
    "contact-break, full": Fault(conversion=_full_breaks),
    "contact-break, partial": Fault(wiring=_partial_breaks),
    "spike": Fault(wiring=_spikes),
    "bit-flip": Fault(conversion=_bit_flips, needs_code=True),
    "step": Fault(prepare=_prepare_step, known=_known_step),
    "noise-rise": Fault(wiring=_noise_rise),
    "interference, noise": Fault(wiring=_noise_with_motion),
    "interference, position": Fault(wiring=_breaks_at_position),
    "mains-beat": Fault(wiring=_mains_beat),
    "frozen": Fault(conversion=_frozen, needs_code=True),
    "stale": Fault(conversion=_stale),
    "link-loss": Fault(conversion=_link_loss),
    "restart": Fault(conversion=_restart),
    "startup-transient": Fault(conversion=_startup_transient, needs_code=True),
    "halt": Fault(conversion=_halt),
    "offset-cold": Fault(wiring=_offset_cold, prepare=_prepare_cold_start, warm=False),
    "drift": Fault(prepare=_prepare_drift, known=_known_drift),
    "no-rise": Fault(prepare=_prepare_dead_heater, known=_known_dead_heater),
    "rise-unpowered": Fault(prepare=_prepare_stuck_heater, known=_known_stuck_heater),
    "joint-jump": Fault(wiring=_joint_jump),
}
