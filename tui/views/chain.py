"""View 4: one sensor's chain from element to host, what it shows, and its error budget."""

import math
from functools import lru_cache

from shared.budget import Budget, Conditions, budget
from shared.chain import Chain
from shared.chainstate import (
    LEADS,
    ChainState,
    Finding,
    Stage,
    StageState,
    cold_line,
    noise_line,
    worked_out_line,
)
from shared.chainstate import two_point_line as points_line
from shared.filters import settling_time_constants
from shared.health import ChannelHealth, Trust
from shared.leads import lead_ohm, share_read
from shared.platinum import HIGHEST_C, LOWEST_C
from shared.reach import reach, step_c
from tui.board import Board, Ink, Rect, shown_width
from tui.views.frame import ScreenFrame
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
TOLD_STAGES = (Stage.ELEMENT, Stage.LEADS, Stage.FILTER, Stage.CONVERTER, Stage.BUS)
"""Stages of which somebody must tell the facts."""
UNTOLD = "not told"
BUDGET_NEEDS = ("r0_ohm", "wires", "lead_m", "reference_ohm", "bits", "capacitance_nf", "wait_ms")
"""Facts without which a budget would be a guess; the others have values that the trade uses."""
SEE = "docs/chain.md and docs/chain-example.toml explain each fact."


def paint_chain(board: Board, area: Rect, frame: ScreenFrame) -> None:
    """The row of stages, then what it shows in words; the words scroll."""
    now, channel = frame.now, frame.state.channel
    state = next((each for each in now.chains if each.channel == channel), None)
    health = next((each for each in now.channels if each.channel == channel), None)
    if state is None:
        _paint_missing(board, area, frame, health)
        return
    _paint_title(board, area, state, frame)
    top = Rect(area.x, area.y + 1, area.width, area.height - 1)
    facts = {stage: facts_of(state, stage) for stage in Stage}
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


def _paint_title(board: Board, area: Rect, state: ChainState, frame: ScreenFrame) -> None:
    x = board.text(area.x, area.y, state.channel, Ink.STRONG)
    if state.chain.told == ():
        told = "worked out" if state.worked_out else "not told"
        words = f"facts {told}: no profile gives them"
        board.text(x + 2, area.y, words, Ink.DOUBTFUL, area.width - x - 2)
    else:
        board.text(x + 2, area.y, "facts from the profile", Ink.DIM)
    others = sum(each.channel != state.channel for each in frame.now.channels)
    if others:
        told = "c next sensor"
        at = area.x + area.width - len(told)
        board.text(at, area.y, "c", Ink.STRONG)
        board.text(at + 2, area.y, told[2:], Ink.DIM)


def _row(
    board: Board, area: Rect, state: ChainState, facts: dict[Stage, list[str]], frame: ScreenFrame
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
            board.text(x, area.y + 2 + row, fact, _fact_ink(fact), wide - 1)
    return 2 + max(len(rows) for rows in facts.values())


def _column(
    board: Board, area: Rect, state: ChainState, facts: dict[Stage, list[str]], frame: ScreenFrame
) -> int:
    """One stage a line; rows used."""
    for row, each in enumerate(state.stages):
        y = area.y + row
        board.text(area.x, y, each.stage, Ink.STRONG, LABEL)
        word = f"{_glyph(each, frame)} {each.finding}"
        board.text(area.x + LABEL, y, word, INKS[each.finding], LABEL)
        told = ", ".join(facts[each.stage])
        board.text(area.x + 2 * LABEL, y, told, _fact_ink(told), area.width - 2 * LABEL)
    return len(state.stages)


def _fact_ink(fact: str) -> Ink:
    return Ink.UNKNOWN if fact == UNTOLD else Ink.PLAIN


def _glyph(each: StageState, frame: ScreenFrame) -> str:
    trust = {Finding.OK: Trust.TRUE, Finding.OFF: Trust.FALSE, Finding.NOT_TOLD: Trust.UNKNOWN}
    return frame.glyphs.trust(trust[each.finding])


def facts_of(state: ChainState, stage: Stage) -> list[str]:
    """Facts of one stage that are told or worked out (≈), short enough for a column."""
    chain = state.chain
    facts = {key: words for key, words in _facts(chain, stage).items() if state.knows(key)}
    worked = {each.key for each in state.worked_out}
    if "reference_ohm" in worked and "bits" not in worked and not chain.knows("bits"):
        worked.add("bits")
    found = [f"≈ {words}" if key in worked else words for key, words in facts.items()]
    return found or ([UNTOLD] if stage in TOLD_STAGES else [])


def _facts(chain: Chain, stage: Stage) -> dict[str, str]:
    """Facts of one stage in words, by the key that tells each."""
    if stage is Stage.ELEMENT:
        r0 = f"Pt{chain.r0_ohm:.4g}"
        return {"r0_ohm": r0, "curve": chain.curve, "tolerance": f"class {chain.tolerance}"}
    if stage is Stage.LEADS:
        set_for = f"set for {chain.strapped}" if chain.strapped != chain.wires else ""
        wires = {"wires": f"{chain.wires} wires"} | ({"strapped_for": set_for} if set_for else {})
        return wires | _lead(chain) | {"lead_m": f"{chain.lead_m:g} m"}
    if stage is Stage.FILTER:
        wait = f"wait {chain.wait_ms:g} ms"
        return {"capacitance_nf": f"{chain.capacitance_nf:g} nF", "wait_ms": wait}
    if stage is Stage.CONVERTER:
        return {
            "reference_ohm": f"{chain.reference_ohm:.5g} Ω",
            "reference_tolerance": f"± {100.0 * chain.reference_tolerance:g} %",
            "bits": f"{chain.bits} bits",
        }
    if stage is Stage.BUS:
        metres = {"bus_m": f"{chain.bus_m:g} m"} if chain.bus != "plugged" else {}
        return {"bus": chain.bus} | metres
    return _host_facts(chain) if stage is Stage.HOST else {}


def _lead(chain: Chain) -> dict[str, str]:
    if chain.lead_ohm_per_m is not None:
        return {"lead_ohm_per_m": f"{chain.lead_ohm_per_m:g} Ω/m"}
    if chain.lead_mm2 is not None:
        return {"lead_mm2": f"{chain.lead_mm2:g} mm²"}
    return {"lead_awg": f"AWG {chain.lead_awg}"}


def _host_facts(chain: Chain) -> dict[str, str]:
    """What the host believes where it differs from what is fitted, and its rounding."""
    found = {"rounding_c": f"{chain.rounding_c:g} °C"}
    if chain.host_r0_ohm is not None and chain.host_r0_ohm != chain.r0_ohm:
        found["host_r0_ohm"] = f"Pt{chain.host_r0_ohm:g}"
    if chain.host_curve is not None and chain.believed_curve != chain.element_curve:
        found["host_curve"] = chain.believed_curve.name
    reference_ohm = chain.host_reference_ohm
    if reference_ohm is not None and reference_ohm != chain.reference_ohm:
        found["host_reference_ohm"] = f"{reference_ohm:g} Ω"
    return found


def chain_words(state: ChainState, health: ChannelHealth | None, roomy: bool = False) -> list[Line]:
    """What is off, what was measured, the budget, what could not be told."""
    space = [Line("", "")] if roomy else []
    lines = [Line(each.stage, each.why, Ink.PLAIN, Ink.FALSE) for each in state.off]
    lines += space if lines else []
    lines += [Line("worked out", worked_out_line(fact)) for fact in state.worked_out]
    lines.append(_line("noise", noise_line(state.noise)))
    if state.cold is not None:
        words = cold_line(state.cold, state.rests_c, state.knows(*LEADS))
        lines.append(_line("at rest", words))
    if state.two_point is not None:
        lines.append(_line("two points", points_line(state.two_point)))
    first, *rest = _budget_lines(state, present_c(health), roomy)
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
    if not state.chain.knows(*BUDGET_NEEDS):
        lines.append(Line("facts", f"{_give(state.channel)} {SEE}"))
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


def _budget_lines(state: ChainState, celsius: float, roomy: bool) -> list[Line]:
    chain = state.chain
    untold = [key for key in BUDGET_NEEDS if not state.knows(key)]
    if untold:
        told = f"not told: it needs {', '.join(untold)}"
        return [Line("budget", told, Ink.UNKNOWN, Ink.STRONG)]
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


def _paint_missing(
    board: Board, area: Rect, frame: ScreenFrame, health: ChannelHealth | None
) -> None:
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
