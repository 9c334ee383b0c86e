"""The pages of `ohmvigil budget`: plain aligned text, 80 columns."""

import math
from collections.abc import Sequence

from shared.budget import Offset
from shared.chain import Chain
from shared.reach import Misreading, other_straps, wrong_settings
from shared.tolerance import TOLERANCES
from shared.uncertainty import Contribution
from tui.budget_case import BudgetCase
from tui.budget_facts import FACTS, PART

ROOM_C = 25.0
_TERMS_SHOWN = 6
_WIDTH = 80
_ALWAYS = ("combined u, °C", "expanded (k = 2), °C", "u by Monte Carlo, °C")
"""Rows of the comparison that stand there even where the chains are alike."""


def one(case: BudgetCase, more: bool = False) -> list[str]:
    """Page of one chain: 24 lines, or all of it with `more`."""
    lines = [*_head(case), *_facts(case), *_offsets(case), *_terms(case, more)]
    if more:
        lines += _straps(case) + _settings(case)
    return lines


def many(cases: Sequence[BudgetCase]) -> list[str]:
    """Page of two or three chains, differences first."""
    rows: list[tuple[str, list[str]]] = []
    same: list[str] = []
    for key in FACTS:
        values = [getattr(case.chain, key) for case in cases]
        if len(set(values)) > 1:
            rows.append((key, [_plain(value) for value in values]))
    first = cases[0]
    lines = [f"Sensor chains at {first.at.temperature_c:g} °C, {_surroundings(case=first)}"]
    lines.append(_row("What differs", [case.name for case in cases]))
    lines += [_row("  " + name, cells) for name, cells in rows]
    lines.append("What follows")
    for name, cells in _results(cases):
        if _differ(cells) or name in _ALWAYS:
            lines.append(_row("  " + name, cells))
        elif cells[0] != "0":
            same.append(f"{name} {cells[0]}")
    lines += _wrapped("Alike: ", ", ".join(same))
    return lines


def untold(cases: Sequence[BudgetCase]) -> list[str]:
    """Facts of part and filter that nobody told of any chain: those of the simulated printer."""
    names = [name for key, name in PART.items() if not any(c.chain.knows(key) for c in cases)]
    return _wrapped("Taken, not told: ", ", ".join(names)) if names else []


def chart(cases: Sequence[BudgetCase], wanted: tuple[float, float] | None = None) -> list[str]:
    """Offset (o) and expanded uncertainty (=) over temperature, a row per temperature."""
    low, high = wanted or (0.0, 300.0)
    marks = [low + (high - low) * part / 12.0 for part in range(13)]
    done = [[case.at_temperature(each) for each in marks] for case in cases]
    ends = [
        (budget.offset_c - budget.combined.expanded(), budget.offset_c + budget.combined.expanded())
        for column in done
        for budget in column
        if not math.isnan(budget.shown_c)
    ]
    if not ends:
        return ["Nothing is shown at any of these temperatures."]
    left = min([0.0, *(low for low, _ in ends)])
    right = max([0.0, *(high for _, high in ends)])
    width = 50
    lines = []
    for case, column in zip(cases, done, strict=True):
        title = f"{case.name}: error in °C, o offset, = expanded uncertainty (k = 2), | zero"
        lines += [
            title,
            f"{'°C':>7} {'offset':>8} {'±U':>7}  {left:<+8.2f}{right:>+{width - 8}.2f}",
        ]
        for mark, budget in zip(marks, column, strict=True):
            offset, wide = budget.offset_c, budget.combined.expanded()
            if math.isnan(offset):
                lines.append(f"{mark:7.0f} {'–':>8} {'–':>7}  nothing is shown")
                continue
            bar = _bar(offset, wide, left, right, width)
            lines.append(f"{mark:7.0f} {offset:+8.2f} {wide:7.2f}  {bar}")
    return lines


def _bar(offset: float, wide: float, left: float, right: float, width: int) -> str:
    def column(value: float) -> int:
        return round((value - left) / (right - left) * (width - 1))

    cells = [" "] * width
    for index in range(column(offset - wide), column(offset + wide) + 1):
        cells[index] = "="
    cells[column(0.0)] = "|"
    cells[column(offset)] = "o"
    return "".join(cells).rstrip()


def _surroundings(case: BudgetCase) -> str:
    at = case.at
    return (
        f"leads at {at.copper_c:g} ± {at.copper_spread_k:g} °C, reference ± {at.board_spread_k:g} K"
    )


def _head(case: BudgetCase) -> list[str]:
    chain = case.chain
    lead = f"AWG {chain.lead_awg}"
    if chain.lead_ohm_per_m is not None:
        lead = f"{chain.lead_ohm_per_m:g} Ω/m"
    elif chain.lead_mm2 is not None:
        lead = f"{chain.lead_mm2:g} mm²"
    strapped = f" (board set for {chain.strapped})" if chain.strapped != chain.wires else ""
    return [
        *_wrapped(
            "",
            f"Pt{chain.r0_ohm:g} {chain.curve} class {chain.tolerance}, {chain.wires} wires"
            f"{strapped} {lead} {chain.lead_m:g} m, {_input(chain)}, {chain.bits} bits, "
            f"{chain.capacitance_nf:g} nF",
            0,
        ),
        f"at {case.at.temperature_c:g} °C, {_surroundings(case)}",
    ]


def _facts(case: BudgetCase) -> list[str]:
    chain, reach, at = case.chain, case.reach, case.at
    done = case.budget.filter
    passes = ", ".join(f"{_percent(part)} at {hz / 1000:g} kHz" for hz, part in done.passes)
    low, high = done.capacitance.lowest_f * 1e9, done.capacitance.highest_f * 1e9
    span = TOLERANCES[chain.tolerance].range_c(chain.construction)
    inside = span[0] <= at.temperature_c <= span[1]
    outside = (
        []
        if inside
        else [
            f"         class {chain.tolerance} ({chain.construction}) holds for "
            f"{span[0]:g}…{span[1]:g} °C: NOT at this temperature"
        ]
    )
    ends = "all of the curve" if reach.ended_by == "curve" else "then the code saturates"
    state = "settled" if done.settled else f"NOT settled, {done.missing:.1e} missing"
    ratio = chain.wait_ms / 1000.0 / done.tau_s if done.tau_s else math.inf
    settling = f"{chain.wait_ms:g} ms = {ratio:.1f} time constants: {state}"
    if chain.bias == "continuous":
        settling = "the bias stays on: settled"
    return [
        f"Range    {reach.lowest_c:.0f}…{reach.highest_c:.0f} °C, code {reach.lowest_code}…"
        f"{reach.highest_code}: {ends}",
        *outside,
        f"Step     {1000 * case.step_ohm:.2f} mΩ, {1000 * case.step_c:.1f} m°C; leads "
        f"{case.lead_ohm:.4f} Ω each and {chain.contact_ohm:g} Ω a contact",
        f"Filter   {done.source_ohm:.1f} Ω × {chain.capacitance_nf:g} nF = "
        f"{1e6 * done.tau_s:.1f} µs, corner {done.corner_hz / 1000:.2f} kHz",
        f"         lets through {passes};",
        f"         with {_conversions(chain)} {_percent(done.mains[0])} of 50 Hz, "
        f"{_percent(done.mains[1])} of 60 Hz, each ± 0.5 Hz",
        f"Settling {settling}",
        f"         {_window(low, high)}",
    ]


def _conversions(chain: Chain) -> str:
    """The conversion, and how many of them make a reading."""
    words = f"the {chain.conversion_ms:g} ms conversion"
    return words if chain.averages == 1 else f"{chain.averages} means of {chain.conversion_ms:g} ms"


def _input(chain: Chain) -> str:
    """The input in words: what the resistance is measured against."""
    if chain.input == "divider":
        return f"{chain.reference_ohm:g} Ω pull-up ± {100 * chain.reference_tolerance:g} %"
    if chain.input == "amplifier":
        return f"amplifier {chain.span_low_ohm:g}…{chain.span_high_ohm:g} Ω"
    return f"{chain.reference_ohm:g} Ω ± {100 * chain.reference_tolerance:g} %"


def _window(low_nf: float, high_nf: float) -> str:
    if low_nf > high_nf:
        return (
            f"no capacitance filters enough (from {low_nf:.0f} nF) and settles (to {high_nf:.0f})"
        )
    return f"{low_nf:.0f}…{high_nf:.0f} nF let a third of 20 kHz through or less, and settle"


def _offsets(case: BudgetCase) -> list[str]:
    done = case.budget
    parts = [_offset(each) for each in done.offsets if abs(each.celsius) >= 0.0005]
    return [
        *_wrapped("Offsets  ", ", ".join(parts) or "none", 9),
        f"Shown    {done.shown_c:.2f} °C for {done.temperature_c:g}: {done.offset_c:+.2f} °C",
    ]


def _offset(each: Offset) -> str:
    ohm = f"{each.ohm:+.4f} Ω = " if each.ohm else ""
    return f"{each.name} {ohm}{each.celsius:+.3f} °C"


def _terms(case: BudgetCase, every: bool) -> list[str]:
    combined = case.budget.combined
    terms = sorted(combined.contributions, key=lambda term: -term.standard)
    shown = terms if every else terms[:_TERMS_SHOWN]
    rest = math.sqrt(math.fsum(term.standard**2 for term in terms[len(shown) :]))
    mc = case.simulated
    says = "agrees" if case.agrees else "DISAGREES"
    lines = [
        f"{'Uncertainty':<27}{'distribution':<13}{'half width':>12}{'°C per unit':>13}{'u, °C':>9}"
    ]
    lines += [_term(term) for term in shown]
    if len(shown) < len(terms):
        lines.append(f"{len(terms) - len(shown)} smaller terms (--more){rest:>51.4f}")
    lines += [
        f"{'combined':<40}{f'± {combined.expanded():.3f} °C (k = 2)':>25}{combined.standard:>9.4f}",
        f"Monte Carlo {says}: {mc.value:.2f} °C, u {mc.standard:.4f}, 95 % within "
        f"{mc.interval[0]:.2f}…{mc.interval[1]:.2f}",
    ]
    return lines


def _term(term: Contribution) -> str:
    width = f"{term.input.width:.4g} {term.input.unit if term.input.unit != '1' else ''}".rstrip()
    return (
        f"{term.input.text:<27}{term.input.shape.value:<13}{width:>12}"
        f"{term.sensitivity:>13.4g}{term.standard:>9.4f}"
    )


def _straps(case: BudgetCase) -> list[str]:
    temperatures = (ROOM_C, case.at.temperature_c)
    found = other_straps(case.chain, temperatures, case.at.copper_c, case.at.bridged)
    return ["", *_misreadings("If the board were", found, temperatures)]


def _settings(case: BudgetCase) -> list[str]:
    temperatures = (ROOM_C, case.at.temperature_c)
    found = wrong_settings(case.chain, temperatures)
    return _misreadings("If the host believed", found, temperatures)


def _misreadings(
    title: str, found: Sequence[Misreading], temperatures: tuple[float, ...]
) -> list[str]:
    head = "".join(f"{f'shown at {each:g} °C':>20}" for each in temperatures)
    lines = [f"{title:<27}{head}"]
    for each in found:
        cells = "".join(
            f"{'nothing':>20}" if math.isnan(shown) else f"{shown:>20.2f}" for shown in each.shown_c
        )
        lines.append(f"  {each.what:<25}{cells}")
    return lines


def _results(cases: Sequence[BudgetCase]) -> list[tuple[str, list[str]]]:
    """Rows of the comparison: name and a cell for each chain."""
    rows: list[tuple[str, list[str]]] = []

    def add(name: str, cells: list[str]) -> None:
        rows.append((name, cells))

    add("range, °C", [f"{c.reach.lowest_c:.0f}…{c.reach.highest_c:.0f}" for c in cases])
    add("step, m°C", [f"{1000 * c.step_c:.1f}" for c in cases])
    add("one lead, Ω", [f"{c.lead_ohm:.4f}" for c in cases])
    for index, offset in enumerate(cases[0].budget.offsets):
        cells = [_near_zero(c.budget.offsets[index].celsius, 3) for c in cases]
        add(f"offset by {offset.name}, °C", cells)
    add("all offsets, °C", [_near_zero(c.budget.offset_c, 3) for c in cases])
    add("filter corner, kHz", [f"{c.budget.filter.corner_hz / 1000:.2f}" for c in cases])
    for index, (hz, _) in enumerate(cases[0].budget.filter.passes):
        cells = [_percent(c.budget.filter.passes[index][1]) for c in cases]
        add(f"lets through at {hz / 1000:g} kHz", cells)
    add("settled", ["yes" if c.budget.filter.settled else "NO" for c in cases])
    windows = [c.budget.filter.capacitance for c in cases]
    cells = [f"{1e9 * w.lowest_f:.0f}…{1e9 * w.highest_f:.0f}" for w in windows]
    add("capacitance that does, nF", cells)
    for index, term in enumerate(cases[0].budget.combined.contributions):
        cells = [f"{c.budget.combined.contributions[index].standard:.3f}" for c in cases]
        if any(float(cell) >= 0.02 for cell in cells):
            add(f"u: {term.input.name}, °C", cells)
    add("combined u, °C", [f"{c.budget.combined.standard:.3f}" for c in cases])
    add("expanded (k = 2), °C", [f"± {c.budget.combined.expanded():.3f}" for c in cases])
    monte = [f"{c.simulated.standard:.3f}{'' if c.agrees else ' DISAGREES'}" for c in cases]
    add("u by Monte Carlo, °C", monte)
    return rows


def _differ(cells: Sequence[str]) -> bool:
    """Whether cells differ by more than a hundredth of the largest, or as words."""
    try:
        values = [float(cell.removeprefix("± ")) for cell in cells]
    except ValueError:
        return len(set(cells)) > 1
    return max(values) - min(values) > 0.01 * max(map(abs, values))


def _row(name: str, cells: Sequence[str]) -> str:
    return f"{name:<32}" + "".join(f"{cell:>16}" for cell in cells)


def _near_zero(value: float, digits: int) -> str:
    text = f"{value:+.{digits}f}"
    return "0" if float(text) == 0.0 else text


def _percent(part: float) -> str:
    percent = 100.0 * part
    return f"{percent:.0f} %" if percent >= 10.0 or percent < 0.05 else f"{percent:.1f} %"


def _plain(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _wrapped(head: str, text: str, indent: int = 7) -> list[str]:
    """Text after a head, broken at spaces after commas to fit the page."""
    lines, line = [], head
    for part in text.split(", "):
        if len(line) + len(part) + 1 > _WIDTH and line.strip():
            lines.append(line.rstrip())
            line = " " * indent
        line += part + ", "
    lines.append(line.rstrip().removesuffix(","))
    return lines
