"""`ohmvigil ohms`: an element, its wires and a temperature into expected readings of a meter."""

import argparse
import sys
from typing import TYPE_CHECKING, Literal

from shared.errors import BadInput
from tui.output import say

if TYPE_CHECKING:
    from shared.chain import Chain
    from shared.terminals import Pair

EXAMPLE = "ohmvigil ohms --element pt100 --wires 3 --awg 26 --length 1.5 --at 23"

ELEMENTS = {"pt100": 100.0, "pt1000": 1000.0}
ROOM_C = (15.0, 20.0, 23.0, 25.0, 30.0)
"""Where no temperature is given: rooms."""
_BOUNDS = {
    "--at": (-200.0, 850.0),
    "--copper": (-50.0, 200.0),
    "--awg": (0.0, 50.0),
    "--mm2": (0.01, 100.0),
    "--length": (0.0, 1000.0),
    "--contact": (0.0, 1e4),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command; imports nothing."""
    add = parser.add_argument
    add("--element", metavar="ELEMENT", default="pt100", help="pt100, pt1000, or R0 in Ω (pt100)")
    add("--at", metavar="C", default=None, help="temperature of the element, °C (15 to 30)")
    add("--wires", metavar="2|3|4", default="2", help="wires of the sensor (2)")
    add("--awg", metavar="N", default=None, help="gauge of one lead (30)")
    add("--mm2", metavar="N", default=None, help="section of one lead, instead of a gauge")
    add("--length", metavar="M", default="1", help="length of one lead, one way, m (1)")
    add("--copper", metavar="C", default="25", help="temperature of the leads, °C (25)")
    add("--contact", metavar="OHM", default="0", help="contact of one lead, Ω (0)")
    add("--json", action="store_true", help="one JSON object")


def run(options: argparse.Namespace) -> int:
    """Print a row for each temperature, with a column for each pair of terminals."""
    from shared.terminals import pairs_of

    chain = _chain(options)
    temperatures = ROOM_C if options.at is None else (_number("--at", options.at),)
    copper_c = _number("--copper", options.copper)
    rows = [(at, pairs_of(chain, at, copper_c)) for at in temperatures]
    if options.json:
        _print_json(chain, rows)
    else:
        for line in _page(chain, copper_c, rows):
            say(line)
    return 0


def _chain(options: argparse.Namespace) -> "Chain":
    from shared.chain import Chain

    if options.awg is not None and options.mm2 is not None:
        raise BadInput("--mm2", "both a gauge and a section", "give --awg or --mm2")
    awg = _whole("--awg", options.awg or "30")
    section = None if options.mm2 is None else _number("--mm2", options.mm2)
    return Chain(
        r0_ohm=_element(options.element),
        wires=_wires(options.wires),
        lead_awg=awg if section is None else None,
        lead_mm2=section,
        lead_m=_number("--length", options.length),
        contact_ohm=_number("--contact", options.contact),
    )


def _element(text: str) -> float:
    known = ELEMENTS.get(text.lower())
    if known is not None:
        return known
    try:
        r0_ohm = float(text)
    except ValueError:
        r0_ohm = 0.0
    if 1.0 <= r0_ohm <= 1e5:
        return r0_ohm
    raise BadInput("--element", f"'{text}' is no element", "give pt100, pt1000, or R0, 1 to 1e5 Ω")


def _wires(text: str) -> Literal[2, 3, 4]:
    if text == "2":
        return 2
    if text == "3":
        return 3
    if text == "4":
        return 4
    raise BadInput("--wires", f"{text} wires", "it must be 2, 3 or 4")


def _number(option: str, text: str) -> float:
    low, high = _BOUNDS[option]
    try:
        value = float(text)
    except ValueError:
        raise BadInput(option, f"'{text}' is not a number", "give a number") from None
    if not low <= value <= high:
        raise BadInput(option, f"{text} is out of bounds", f"it must be {low:g} to {high:g}")
    return value


def _whole(option: str, text: str) -> int:
    value = _number(option, text)
    if value != int(value):
        raise BadInput(option, f"{text} is no whole number", "give a whole number")
    return int(value)


def _page(chain: "Chain", copper_c: float, rows: "list[tuple[float, list[Pair]]]") -> list[str]:
    from shared.leads import path_ohm
    from shared.terminals import METER_DIGITS, METER_PART

    ends = {2: "A and B", 3: "A, A' at one end, B", 4: "A, A' at one end, B, B'"}
    lines = [
        f"R0 {chain.r0_ohm:g} Ω (IEC 60751), {chain.wires} wires ({ends[chain.wires]}), "
        f"{_lead(chain)}",
        f"One lead and its contact: {path_ohm(chain, copper_c):.4f} Ω at {copper_c:g} °C",
        "",
    ]
    names = _groups(rows[0][1])
    heads = [", ".join(each) for each in names]
    widths = [max(len(head), 16) for head in heads]
    cells = "  ".join(f"{head:>{width}}" for head, width in zip(heads, widths, strict=True))
    lines.append(f"{'°C':>6}  {cells}")
    for at, pairs in rows:
        by_name = {pair.name: pair for pair in pairs}
        shown = [_reading(by_name[each[0]]) for each in names]
        told = "  ".join(f"{one:>{width}}" for one, width in zip(shown, widths, strict=True))
        lines.append(f"{at:6g}  {told}")
    return [
        *lines,
        "",
        f"± is what a hand-held meter of {100.0 * METER_PART:g} % and {METER_DIGITS} digits "
        "leaves open.",
        "Power off, unplugged, cold, the sensor's plug pulled. Short the probes first, and",
        "subtract what they read. Mains wiring: only someone licensed, by the local code.",
    ]


def _lead(chain: "Chain") -> str:
    size = f"AWG {chain.lead_awg}" if chain.lead_mm2 is None else f"{chain.lead_mm2:g} mm²"
    return f"{size}, {chain.lead_m:g} m each"


def _groups(pairs: "list[Pair]") -> list[list[str]]:
    """Names of pairs that read the same, in their order."""
    found: dict[float, list[str]] = {}
    for pair in pairs:
        found.setdefault(pair.ohm, []).append(pair.name)
    return list(found.values())


def _reading(pair: "Pair") -> str:
    places = 2 if pair.ohm < 1000.0 else 1
    return f"{pair.ohm:.{places}f} ± {pair.meter_ohm:.1f} Ω"


def _print_json(chain: "Chain", rows: "list[tuple[float, list[Pair]]]") -> None:
    import msgspec

    record = {
        "record": "ohms",
        "r0_ohm": chain.r0_ohm,
        "wires": chain.wires,
        "rows": [
            {
                "temperature_c": at,
                "pairs": [
                    {"pair": pair.name, "ohm": pair.ohm, "meter_ohm": pair.meter_ohm}
                    for pair in pairs
                ],
            }
            for at, pairs in rows
        ],
    }
    sys.stdout.write(msgspec.json.encode(record).decode() + "\n")
