"""What was drawn, in a word each: for telling which worlds go wrong."""

from itertools import pairwise

from tests.quality.worlds.around import Around
from tests.quality.worlds.chain import Sensor
from tests.quality.worlds.host import Host
from tests.quality.worlds.machine import Machine
from tests.quality.worlds.program import Program


def traits_of(
    machine: Machine, program: Program, around: Around, sensors: dict[str, Sensor], host: Host
) -> dict[str, str]:
    """Trait and value of a world."""
    sensor = next(iter(sensors.values()))
    nozzle, bed = machine.of_role("nozzle"), machine.of_role("bed")
    chamber = machine.of_role("chamber")
    return {
        "period": _bin(host.period_s, (0.2, 0.6, 1.5, 4.0), "s"),
        "readings": "repeated" if host.converts_s > host.period_s else "fresh",
        "jitter": _bin(host.jitter, (0.005, 0.1), ""),
        "lost updates": _bin(100.0 * host.lost, (0.1, 1.0), "%"),
        "bursts": str(host.burst),
        "form": host.form,
        "told": "codes" if host.codes else "ohms" if host.ohms else "degrees",
        "rounding": f"{host.step_k:g} K",
        "degrees cut off": _yes(host.cuts),
        "flags told": _yes(host.flags),
        "power told": host.power,
        "target told": _yes(host.target),
        "fan told": _yes(host.fan),
        "motion told": _yes(host.motion),
        "feed told": _yes(host.feed),
        "uptime told": _yes(host.uptime),
        "state told": _yes(host.state),
        "chain told": _yes(host.chain_told),
        "clock step": f"{host.clock_step:g} s",
        "element": f"Pt{sensor.r0_ohm:.0f}",
        "wires": str(sensor.wires),
        "bits": str(sensor.bits),
        "noise": _bin(1000.0 * sensor.noise_k, (12.0, 40.0), "mK"),
        "noise colour": sensor.colour,
        "nozzle control": nozzle.settings.way if nozzle else "none",
        "nozzle switching": _switching(nozzle.settings.window_s) if nozzle else "none",
        "nozzle lag": _bin(nozzle.body.lag_s, (1.0, 2.5), "s") if nozzle else "none",
        "bed control": bed.settings.way if bed else "none",
        "bed switching": _switching(bed.settings.window_s) if bed else "none",
        "heated chamber": chamber.settings.way if chamber else "none",
        "nozzles": str(sum(each.role == "nozzle" for each in machine.heaters)),
        "channels": str(len(sensors)),
        "closed": _yes(machine.is_closed),
        "doors": _bin(float(around.doors), (0.5, 1.5), ""),
        "day": program.style,
    }


def _switching(window_s: float) -> str:
    return "steady" if window_s <= 0.0 else f"about {window_s:.0f} s"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _bin(value: float, edges: tuple[float, ...], unit: str) -> str:
    """Between which edges a value lies, in words."""
    unit = f" {unit}" if unit else ""
    if value < edges[0]:
        return f"< {edges[0]:g}{unit}"
    for low, high in pairwise(edges):
        if value < high:
            return f"{low:g}–{high:g}{unit}"
    return f"≥ {edges[-1]:g}{unit}"
