"""View 4: one sensor's chain from element to host, what it shows, and its error budget."""

import math
from functools import lru_cache

from shared.budget import Budget, Conditions, budget
from shared.chain import Chain
from shared.chainstate import ChainState, Finding, Stage, StageState, cold_line, noise_line
from shared.chainstate import two_point_line as points_line
from shared.filters import settling_time_constants
from shared.health import ChannelHealth, Trust
from shared.leads import lead_ohm, share_read
from shared.platinum import HIGHEST_C, LOWEST_C
from shared.reach import reach, step_c
from tui.board import Board, Ink, Rect, shown_width
from tui.views.frame import Frame
from tui.views.text import Line, paint_lines

LABEL = 11
ROW_FROM = 77
"""Cells that seven stages side by side need; a narrower screen gets one stage a line."""
LINES_FROM_HEIGHT = 18
"""Rows below which facts are left out, so that something of the text stays in sight."""
USUAL_C = 25.0
"""Temperature of the budget where neither a true reading nor a target is known."""
TERMS = 4
"""Terms of the uncertainty that a low screen shows."""
ROOMY_FROM_HEIGHT = 30
"""Rows from which sections stand apart and every term is shown."""
BY_FACTS = (Stage.ELEMENT, Stage.LEADS, Stage.CONVERTER, Stage.HOST)
"""Stages whose facts the budget rests on."""
INKS = {Finding.OK: Ink.TRUE, Finding.OFF: Ink.FALSE, Finding.NOT_TOLD: Ink.UNKNOWN}
SEE = "docs/chain.md and docs/chain-example.toml explain each fact."


def paint_chain(board: Board, area: Rect, frame: Frame) -> None:
    """The row of stages, then what it shows in words; the words scroll."""
    now, channel = frame.now, frame.state.channel
    state = next((each for each in now.chains if each.channel == channel), None)
    health = next((each for each in now.channels if each.channel == channel), None)
    if state is None:
        _paint_missing(board, area, frame, health)
        return
    _paint_title(board, area, state, frame)
    top = Rect(area.x, area.y + 1, area.width, area.height - 1)
    facts = {stage: facts_of(state.chain, stage) for stage in Stage}
    used = (_row if area.width >= ROW_FROM else _column)(board, top, state, facts, frame)
    y = top.y + used + (1 if area.height >= LINES_FROM_HEIGHT else 0)
    below = Rect(area.x, y, area.width, area.y + area.height - y)
    paint_lines(
        board,
        below,
        chain_words(state, health, area.height >= ROOMY_FROM_HEIGHT),
        LABEL,
        frame.state,
    )


def _paint_title(board: Board, area: Rect, state: ChainState, frame: Frame) -> None:
    x = board.text(area.x, area.y, state.channel, Ink.STRONG)
    if state.is_assumed:
        told = "facts are ASSUMED: no profile gives them"
        board.text(x + 2, area.y, told, Ink.DOUBTFUL, area.width - x - 2)
    else:
        board.text(x + 2, area.y, "facts from the profile", Ink.DIM)
    others = sum(each.channel != state.channel for each in frame.now.channels)
    if others:
        told = "c next sensor"
        at = area.x + area.width - len(told)
        board.text(at, area.y, "c", Ink.STRONG)
        board.text(at + 2, area.y, told[2:], Ink.DIM)


def _row(
    board: Board, area: Rect, state: ChainState, facts: dict[Stage, list[str]], frame: Frame
) -> int:
    """Stages side by side, joined in the way of the signal; rows used."""
    wide = area.width // len(Stage)
    for index, each in enumerate(state.stages):
        x = area.x + index * wide
        ink = Ink.FALSE if each.finding is Finding.OFF else Ink.STRONG
        end = board.text(x, area.y, each.stage, ink, wide - 1)
        if index < len(state.stages) - 1:
            way = frame.glyphs.true * (x + wide - 1 - end) + frame.glyphs.focus
            board.text(end, area.y, way, Ink.DIM)
        word = f"{_glyph(each, frame)} {each.finding}"
        board.text(x, area.y + 1, word, INKS[each.finding], wide - 1)
        for row, fact in enumerate(facts[each.stage]):
            ink = Ink.DIM if state.is_assumed else Ink.PLAIN
            board.text(x, area.y + 2 + row, fact, ink, wide - 1)
    most = max(len(rows) for rows in facts.values())
    if state.is_assumed:
        for index, stage in enumerate(Stage):
            if facts[stage]:
                x = area.x + index * wide
                board.text(x, area.y + 2 + most, "assumed", Ink.DOUBTFUL, wide - 1)
        most += 1
    return 2 + most


def _column(
    board: Board, area: Rect, state: ChainState, facts: dict[Stage, list[str]], frame: Frame
) -> int:
    """One stage a line; rows used."""
    for row, each in enumerate(state.stages):
        y = area.y + row
        board.text(area.x, y, each.stage, Ink.STRONG, LABEL)
        word = f"{_glyph(each, frame)} {each.finding}"
        board.text(area.x + LABEL, y, word, INKS[each.finding], LABEL)
        assumed = " (assumed)" if state.is_assumed and facts[each.stage] else ""
        told = ", ".join(facts[each.stage]) + assumed
        board.text(area.x + 2 * LABEL, y, told, Ink.PLAIN, area.width - 2 * LABEL)
    return len(state.stages)


def _glyph(each: StageState, frame: Frame) -> str:
    trust = {Finding.OK: Trust.TRUE, Finding.OFF: Trust.FALSE, Finding.NOT_TOLD: Trust.UNKNOWN}
    return frame.glyphs.trust(trust[each.finding])


def facts_of(chain: Chain, stage: Stage) -> list[str]:
    """Facts of one stage, each short enough for a column of ten cells."""
    if stage is Stage.ELEMENT:
        return [f"Pt{chain.r0_ohm:g}", chain.curve, f"class {chain.tolerance}"]
    if stage is Stage.LEADS:
        lead = f"AWG {chain.lead_awg}"
        if chain.lead_ohm_per_m is not None:
            lead = f"{chain.lead_ohm_per_m:g} Ω/m"
        elif chain.lead_mm2 is not None:
            lead = f"{chain.lead_mm2:g} mm²"
        set_for = [f"set for {chain.strapped}"] if chain.strapped != chain.wires else []
        return [f"{chain.wires} wires", *set_for, lead, f"{chain.lead_m:g} m"]
    if stage is Stage.FILTER:
        return [f"{chain.capacitance_nf:g} nF", f"wait {chain.wait_ms:g} ms"]
    if stage is Stage.CONVERTER:
        tolerance = f"± {100.0 * chain.reference_tolerance:g} %"
        return [f"{chain.reference_ohm:g} Ω", tolerance, f"{chain.bits} bits"]
    if stage is Stage.BUS:
        return [chain.bus] if chain.bus == "plugged" else [chain.bus, f"{chain.bus_m:g} m"]
    if stage is Stage.HOST:
        return _host_facts(chain)
    return []


def _host_facts(chain: Chain) -> list[str]:
    """What the host believes where it differs from what is fitted, and its rounding."""
    found = [f"{chain.rounding_c:g} °C"]
    if chain.believed_r0_ohm != chain.r0_ohm:
        found.append(f"Pt{chain.believed_r0_ohm:g}")
    if chain.believed_curve != chain.element_curve:
        found.append(chain.believed_curve.name)
    if chain.believed_reference_ohm != chain.reference_ohm:
        found.append(f"{chain.believed_reference_ohm:g} Ω")
    return found


def chain_words(state: ChainState, health: ChannelHealth | None, roomy: bool = False) -> list[Line]:
    """What is off, what was measured, the budget, what could not be told."""
    space = [Line("", "")] if roomy else []
    lines = [Line(each.stage, each.why, Ink.PLAIN, Ink.FALSE) for each in state.off]
    lines += space if lines else []
    lines.append(_line("noise", noise_line(state.noise)))
    if state.cold is not None:
        lines.append(_line("at rest", cold_line(state.cold, state.rests_c)))
    if state.two_point is not None:
        lines.append(_line("two points", points_line(state.two_point)))
    first, *rest = _budget_lines(state.chain, present_c(health), roomy)
    lines += [*space, first]
    wrong = [each.stage for each in state.off if each.stage in BY_FACTS]
    if wrong:
        told = f"it goes by the facts; what is off ({', '.join(wrong)}) comes on top"
        lines.append(Line(" mind", told, Ink.DOUBTFUL, Ink.DOUBTFUL))
    lines += rest + space
    untold: dict[str, list[str]] = {}
    for each in state.stages:
        if each.finding is Finding.NOT_TOLD:
            untold.setdefault(each.why, []).append(each.stage)
    for why, names in untold.items():
        lines.append(Line("not told", f"{', '.join(names)}: {why}", Ink.PLAIN, Ink.UNKNOWN))
    if state.is_assumed:
        lines.append(Line("assumed", f"{_give(state.channel)} {SEE}"))
    return lines


def _line(label: str, words: str) -> Line:
    """A sentence whose first words are its label."""
    return Line(label, words.removeprefix(label).lstrip(": "))


def present_c(health: ChannelHealth | None) -> float:
    """Temperature of the budget, whole °C: the reading if it is believed, else the target."""
    if health is not None:
        reading, target = health.temperature_c, health.target_c
        believed = health.trust in (Trust.TRUE, Trust.DOUBTFUL)
        if believed and reading is not None and LOWEST_C <= reading <= HIGHEST_C:
            return float(round(reading))
        if target is not None and 0.0 < target <= HIGHEST_C:
            return float(round(target))
    return USUAL_C


@lru_cache(maxsize=128)
def budget_at(chain: Chain, celsius: float) -> Budget:
    """The budget, kept for the temperatures that a screen comes by."""
    return budget(chain, Conditions(temperature_c=celsius))


def _budget_lines(chain: Chain, celsius: float, roomy: bool) -> list[Line]:
    if math.isinf(share_read(chain)[0]):
        told = "nothing true is read: an input hangs open, as the board is set for more wires"
        return [Line("budget", told, Ink.FALSE, Ink.STRONG)]
    done = budget_at(chain, celsius)
    if done.shown_c != done.shown_c:
        told = f"at {celsius:g} °C nothing true is read: the code saturates"
        return [Line("budget", told, Ink.FALSE, Ink.STRONG)]
    combined, passed = done.combined, done.filter
    offsets = [
        f"{each.name} {each.celsius:+.2f}" for each in done.offsets if abs(each.celsius) >= 0.005
    ]
    terms = sorted(combined.contributions, key=lambda term: -term.standard)
    parts = ", ".join(
        f"{term.input.name} {term.standard:.2f}" for term in (terms if roomy else terms[:TERMS])
    )
    span = reach(chain)
    ends = "all of the curve" if span.ended_by == "curve" else "then the code saturates"
    wait = chain.wait_ms / 1000.0 / passed.tau_s if passed.tau_s > 0.0 else math.inf
    settled = "settled" if passed.settled else "NOT settled"
    needed = settling_time_constants(chain.bits)
    return [
        Line(
            "budget",
            f"at {celsius:g} °C shown {done.offset_c:+.2f} °C off, ± {combined.expanded():.2f} °C "
            "(k = 2)",
            Ink.STRONG,
            Ink.STRONG,
        ),
        Line(" offsets", f"{', '.join(offsets) or 'none'} °C; a lead {lead_ohm(chain):.3f} Ω"),
        Line(" u, °C", f"{parts}; combined {combined.standard:.2f}"),
        Line(
            " step",
            f"{1000.0 * chain.step_ohm:.1f} mΩ = {1000.0 * step_c(chain, celsius):.0f} mK; range "
            f"{span.lowest_c:.0f}…{span.highest_c:.0f} °C, {ends}",
        ),
        Line(
            " filter",
            f"corner {passed.corner_hz / 1000.0:.2f} kHz, lets through "
            f"{100.0 * passed.passes[0][1]:.0f} % at {passed.passes[0][0] / 1000.0:g} kHz; settles "
            f"for {wait:.0f} time constants and needs {needed:.0f}: {settled}",
        ),
    ]


def _paint_missing(board: Board, area: Rect, frame: Frame, health: ChannelHealth | None) -> None:
    """A channel of which no chain is known: what is missing, and how to give it."""
    channel = frame.state.channel
    if health is None:
        board.text(area.x, area.y, "no sensors reported yet", Ink.DIM)
        return
    x = board.text(area.x, area.y, channel, Ink.STRONG)
    board.text(x + 2, area.y, "no chain to show", Ink.DOUBTFUL)
    told = "c next sensor"
    if area.width - shown_width(told) > x + 20:
        board.text(area.x + area.width - len(told), area.y, told, Ink.DIM)
    lines = [
        Line("missing", "the host sends degrees only: neither code nor resistance was seen, and no "
             "profile gives the facts of this chain."),
        Line("code, Ω", f"If the host has them: `code` or `resistance_ohm` under "
             f"[channels.{channel}] of the profile; docs/profiles.md explains pointers."),
        Line("facts", f"{_give(channel)} {SEE}"),
        Line("", "`ohmvigil learn ADDRESS` drafts a profile; `ohmvigil budget` shows what a chain "
             "can do before any of it is fitted."),
    ]  # fmt: skip
    rest = Rect(area.x, area.y + 2, area.width, area.height - 2)
    paint_lines(board, rest, lines, LABEL, frame.state)


def _give(channel: str) -> str:
    return (
        f"Give facts as [channels.{channel}.chain] in a profile (element, wires, leads, "
        "reference, bits, capacitance), then `watch PROFILE` or `--profile`."
    )
