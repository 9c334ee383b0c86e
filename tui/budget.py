"""`ohmvigil budget`: options and profiles into chains, chains into a page of numbers."""

import argparse
import sys
from typing import TYPE_CHECKING

from shared.errors import BadInput
from tui.budget_facts import FACTS
from tui.output import say

if TYPE_CHECKING:
    from shared.budget import Conditions
    from shared.chain import Chain

EXAMPLE = "ohmvigil budget --wires 2 --lead-awg 30 --lead-m 1.2 --with wires=3,capacitance_nf=400"

LEAD_WAYS = ("lead_awg", "lead_mm2", "lead_ohm_per_m")
"""Ways to tell a lead's resistance: one at a time."""

CONDITIONS: dict[str, tuple[float, float, float, str]] = {
    "temperature_c": (210.0, -200.0, 850.0, "temperature of the budget, °C"),
    "copper_c": (25.0, -50.0, 200.0, "mean temperature of the leads, °C"),
    "copper_spread_k": (10.0, 0.0, 100.0, "how far that varies, half width, K"),
    "board_spread_k": (15.0, 0.0, 100.0, "how far the reference's temperature varies, K"),
}
MOST_CHAINS = 3


def option_of(key: str) -> str:
    """`lead_m` → `--lead-m`."""
    return "--at" if key == "temperature_c" else "--" + key.replace("_", "-")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command; imports nothing."""
    parser.add_argument("--profile", metavar="NAME", help="chain facts: a profile's name or file")
    parser.add_argument("--channel", metavar="NAME", help="channel of the profile")
    parser.add_argument(
        "--with",
        dest="others",
        metavar="CHAIN",
        action="append",
        default=[],
        help="a chain to compare: KEY=VALUE,… (what differs from the first) or a profile",
    )
    parser.add_argument("--wanted", metavar="LOW:HIGH", help="range that must fit, °C")
    for key, (default, _low, _high, text) in CONDITIONS.items():
        parser.add_argument(
            option_of(key), dest=key, metavar="N", default=None, help=f"{text} ({default:g})"
        )
    parser.add_argument(
        "--bridged", action="store_true", help="terminals without a wire are bridged"
    )
    parser.add_argument("--more", action="store_true", help="every term, wire counts, settings")
    parser.add_argument("--chart", action="store_true", help="offset and uncertainty over °C")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    facts = parser.add_argument_group("chain facts, also the keys of a profile and of --with")
    for key, (kind, text) in FACTS.items():
        shown = "|".join(map(str, kind)) if isinstance(kind, tuple) else "N"
        shown = "yes|no" if kind is bool else shown
        facts.add_argument(option_of(key), dest=key, metavar=shown, default=None, help=text)


def run(options: argparse.Namespace) -> int:
    """Print the budget of one chain, or two or three beside each other."""
    import msgspec

    from tui import budget_view
    from tui.budget_case import BudgetCase

    first = _first(options)
    chains = [first, *(_other(spec, first) for spec in options.others)]
    if len(chains) > MOST_CHAINS:
        raise BadInput("--with", f"{len(chains)} chains", f"compare at most {MOST_CHAINS}")
    at = _conditions(options)
    wanted = _wanted(options.wanted)
    for position, chain in enumerate(chains):
        _check_it_reads(chain, at, wanted, "--with" if position else "")
    cases = [BudgetCase(name, chain, at) for name, chain in zip("ABC", chains, strict=False)]
    if options.json:
        record = {"record": "budget", "chains": [case.as_record() for case in cases]}
        sys.stdout.write(msgspec.json.encode(record).decode() + "\n")
        return 0
    lines = budget_view.one(cases[0], options.more) if len(cases) == 1 else budget_view.many(cases)
    for line in lines:
        say(line)
    for line in budget_view.untold(cases):
        say(line)
    if options.chart:
        say("")
        for line in budget_view.chart(cases, wanted):
            say(line)
    return 0


def _first(options: argparse.Namespace) -> "Chain":
    from shared.chain import UNTOLD

    base = _saved(options.profile, options.channel) if options.profile else UNTOLD
    if options.channel and not options.profile:
        raise BadInput("--channel", "there is no profile to look in", "give --profile too")
    given = {key: getattr(options, key) for key in FACTS if getattr(options, key) is not None}
    ways = [key for key in LEAD_WAYS if key in given]
    if len(ways) > 1:
        what = f"a lead's resistance is told twice, by {' and '.join(map(option_of, ways))} too"
        raise BadInput(
            option_of(ways[0]), what.replace(f"{option_of(ways[0])} and ", ""), "give one"
        )
    return _changed(base, given, "")


def _other(spec: str, first: "Chain") -> "Chain":
    """`KEY=VALUE,…` on top of the first chain, or `PROFILE` or `PROFILE:CHANNEL`."""
    if "=" not in spec:
        name, _, channel = spec.partition(":")
        return _saved(name, channel or None)
    given = {}
    for part in spec.split(","):
        key, _, value = part.partition("=")
        given[key.strip().removeprefix("--").replace("-", "_")] = value.strip()
    return _changed(first, given, "--with: ")


def _saved(name: str, channel: str | None) -> "Chain":
    from client.profile import load_profile

    chains = load_profile(name).chains
    if channel is None and len(chains) == 1:
        return next(iter(chains.values()))
    if channel in chains:
        return chains[channel]
    known = ", ".join(chains) or "none"
    what = f"no chain facts of channel '{channel}'" if channel else "no one chain to take"
    raise BadInput(name, what, f"channels with chain facts: {known}; choose with --channel")


def _changed(chain: "Chain", given: dict[str, str], where: str) -> "Chain":
    import msgspec

    from shared import toml
    from shared.chain import check_chain

    facts: dict[str, float | int | bool | str] = {}
    for key, text in given.items():
        if key not in FACTS:
            raise BadInput(f"{where}{key}", "no chain fact", toml.meant(key, list(FACTS)))
        facts[key] = _fact(key, text, where)
    told = None if chain.told is None else tuple(sorted({*chain.told, *facts}))
    changed = msgspec.structs.replace(chain, **facts, told=told)
    try:
        check_chain(changed)
    except ValueError as error:
        what, _, bound = str(error).partition("; ")
        key = what.split(" ", 1)[0]
        raise BadInput(f"{where}{option_of(key)}", what, bound) from None
    return changed


def _fact(key: str, text: str, where: str) -> float | int | bool | str:
    """A fact's value from its text; bounds are `check_chain`'s to judge."""
    kind, _ = FACTS[key]
    place = f"{where}{option_of(key)}"
    if isinstance(kind, tuple):
        for choice in kind:
            if text.lower() == str(choice).lower():
                return choice
        known = ", ".join(map(str, kind))
        raise BadInput(place, f"{key} is {text}", f"it must be one of {known}")
    if kind is bool:
        if text in ("yes", "true", "no", "false"):
            return text in ("yes", "true")
        raise BadInput(place, f"{key} is {text}", "it must be yes or no")
    try:
        return kind(text)
    except ValueError:
        wanted = "a whole number" if kind is int else "a number"
        raise BadInput(place, f"'{text}' is not {wanted}", f"give {wanted}") from None


def _bounded(key: str, text: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        raise BadInput(option_of(key), f"'{text}' is not a number", "give a number") from None
    if not low <= value <= high:
        bound = f"it must be {low:g} to {high:g}"
        raise BadInput(option_of(key), f"{key} is {value:g}", bound)
    return value


def _conditions(options: argparse.Namespace) -> "Conditions":
    from shared.budget import Conditions

    given = {
        key: _bounded(key, getattr(options, key), low, high)
        for key, (_default, low, high, _text) in CONDITIONS.items()
        if getattr(options, key) is not None
    }
    return Conditions(**given, bridged=options.bridged)


def _wanted(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    low, colon, high = text.partition(":")
    if not colon:
        raise BadInput("--wanted", f"'{text}' is no range", "write LOW:HIGH, such as 0:300")
    pair = _bounded("wanted", low, -200.0, 850.0), _bounded("wanted", high, -200.0, 850.0)
    if pair[0] >= pair[1]:
        raise BadInput("--wanted", f"{low} is not below {high}", "write LOW:HIGH, such as 0:300")
    return pair


def _check_it_reads(
    chain: "Chain", at: "Conditions", wanted: tuple[float, float] | None, where: str
) -> None:
    """BadInput for a chain that shows nothing, or saturates, where it is asked to read."""
    from shared.leads import read_ohm
    from shared.reach import element_ohm, reach

    highest = max(at.temperature_c, wanted[1] if wanted else at.temperature_c)
    seen = read_ohm(chain, element_ohm(chain, highest), at.copper_c, bridged=at.bridged)
    if seen == float("inf"):
        what = f"an input hangs open: {chain.wires} wires on a board set for {chain.strapped}"
        raise BadInput(where or "--strapped-for", what, "fit the wire, or add --bridged")
    span = reach(chain, at.copper_c, at.bridged)
    if span.ended_by == "code" and not highest <= span.highest_c:
        key = _END_KEYS[chain.input]
        what = f"{getattr(chain, key):g} Ω ends below the range: {highest:g} °C is {seen:.4g} Ω"
        do = f"it must be more than {seen:.4g}, or --at lower"
        raise BadInput(where or option_of(key), f"{what} at the converter", do)
    if not span.lowest_c <= at.temperature_c:
        what = f"begins above the range: {at.temperature_c:g} °C is {seen:.4g} Ω at the converter"
        raise BadInput(where or "--span-low-ohm", what, f"it must be less than {seen:.4g}")
    _check_it_shows(chain, at, where)


_END_KEYS = {
    "reference": "reference_ohm",
    "divider": "reference_ohm",
    "amplifier": "span_high_ohm",
}
"""Facts that end the range of an input."""


def _check_it_shows(chain: "Chain", at: "Conditions", where: str) -> None:
    """BadInput, with the option to change, where the host would show no temperature."""
    import msgspec

    from shared.budget import filter_at, shown_at

    if shown_at(chain, at) == shown_at(chain, at):
        return
    missing = filter_at(chain, at).missing
    settled = msgspec.structs.replace(chain, bias="continuous")
    if shown_at(settled, at) == shown_at(settled, at):
        what = f"the input has not settled: {100.0 * missing:.3g} % of the voltage is missing"
        do = "wait longer, or take less --capacitance-nf; or --bias continuous"
        raise BadInput(where or "--wait-ms", what, do)
    plain = msgspec.structs.replace(
        settled, host_r0_ohm=None, host_curve=None, host_reference_ohm=None
    )
    if shown_at(plain, at) == shown_at(plain, at):
        what = f"the host shows nothing of {at.temperature_c:g} °C with these settings"
        do = "its R0, reference and curve must be near those fitted"
        raise BadInput(where or "--host-r0-ohm", what, do)
    what = f"{at.temperature_c:g} °C and what the leads add lie beyond the curve, −200…850 °C"
    raise BadInput(where or "--at", what, "give another temperature")
