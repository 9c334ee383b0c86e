"""Scenarios on the command line: the default, the list, and options that must be sane."""

import argparse
import math

from client.simulated.scenario import load_scenario, scenario_names
from shared.errors import BadInput
from tui.output import say

DEFAULT_SCENARIO = "loose-terminal"
MAX_SPEED = 1000.0


def list_scenarios() -> int:
    """Print every scenario's name and title."""
    names = scenario_names()
    width = max(map(len, names))
    for name in names:
        say(f"{name:<{width}}  {load_scenario(name).title}")
    return 0


def check_speed(options: argparse.Namespace) -> None:
    """BadInput for a speed or a span that cannot be."""
    if not 0.0 < options.speed <= MAX_SPEED:
        raise BadInput(
            f"--speed {options.speed:g}",
            f"must be above 0, at most {MAX_SPEED:g}",
            "try --speed 60",
        )
    if options.for_s is not None and not (0.0 < options.for_s < math.inf):
        raise BadInput(f"--for {options.for_s:g}", "must be above 0 s", "try --for 900")
