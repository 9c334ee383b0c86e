"""What a chain shows, as plain lines and as a record of `judge --json`."""

import math
from collections.abc import Iterable
from typing import Any

from shared.chain import SCALE
from shared.chainstate import ChainState, Finding
from shared.coldcheck import ChannelCold
from shared.noise import NoiseCheck
from shared.twopoint import Estimate, TwoPoint


def chain_lines(states: Iterable[ChainState]) -> list[str]:
    """A section for each channel: its stages, what was measured, why a stage is not ok."""
    lines: list[str] = []
    for state in states:
        stages = ", ".join(f"{each.stage} {each.finding}" for each in state.stages)
        lines.append(f"chain {state.channel}: {stages}")
        lines += [f"  {words}" for words in state.lines]
        lines += [f"  off: {each.stage}: {each.why}" for each in state.off]
        untold: dict[str, list[str]] = {}
        for each in state.stages:
            if each.finding is Finding.NOT_TOLD:
                untold.setdefault(each.why, []).append(each.stage)
        lines += [f"  not told: {', '.join(names)}: {why}" for why, names in untold.items()]
        others = [words for words in state.could_not_tell if words not in untold]
        lines += [f"  could not tell {words}" for words in others]
    return lines


def chain_record(state: ChainState) -> dict[str, Any]:
    """The record; numbers that could not be told are null."""
    return {
        "record": "chain",
        "channel": state.channel,
        "facts": _facts(state),
        "stages": [
            {"stage": each.stage, "finding": each.finding, "why": each.why} for each in state.stages
        ],
        "noise": _noise(state.noise),
        "cold": None if state.cold is None else _cold(state.cold, state.rests_c),
        "two_point": None if state.two_point is None else _two_point(state.two_point),
        "could_not_tell": list(state.could_not_tell),
    }


def _facts(state: ChainState) -> dict[str, Any]:
    """The facts that turn codes into degrees, each with where it is from."""
    worked = {each.key: each for each in state.worked_out}
    found: dict[str, Any] = {}
    for key in SCALE:
        each = worked.get(key)
        if state.chain.knows(key):
            found[key] = {"value": getattr(state.chain, key), "from": "told"}
        elif each is not None:
            found[key] = {
                "value": each.value,
                "standard_uncertainty": _number(each.standard),
                "from": "worked out",
                "how": each.how,
            }
        else:
            found[key] = {"value": None, "from": "not told"}
    return found


def _noise(noise: NoiseCheck) -> dict[str, Any]:
    return {
        "finding": noise.finding,
        "readings": noise.readings,
        "measured_ohm": _number(noise.measured_ohm),
        "expected_ohm": _number(noise.expected_ohm),
        "ratio": _number(noise.ratio),
        "ratio_interval": [_number(end) for end in noise.interval],
        "codes": _number(noise.codes),
        "kelvin": _number(noise.celsius),
    }


def _cold(cold: ChannelCold, rests_c: tuple[float, ...]) -> dict[str, Any]:
    return {
        "others_c": cold.others_c,
        "rests_c": list(rests_c),
        "implied_leads_ohm": _estimate(cold.implied_leads_ohm),
        "expected_leads_ohm": cold.expected_leads_ohm,
        "implied_gain": _estimate(cold.implied_gain),
        "is_off": cold.is_off,
        "prefers": cold.prefers,
        "why": cold.why,
    }


def _two_point(found: TwoPoint) -> dict[str, Any]:
    split = found.split
    return {
        "offset_ohm": _estimate(split.offset_ohm),
        "gain": _estimate(split.gain),
        "lead_ohm": _estimate(found.path_ohm),
        "expected_lead_ohm": found.expected_path_ohm,
        "prefers": split.prefers,
        "could_not_tell": list(found.could_not_tell),
    }


def _estimate(estimate: Estimate | None) -> dict[str, float] | None:
    if estimate is None:
        return None
    return {"value": estimate.value, "standard_uncertainty": estimate.standard}


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
