"""`ohmvigil demo`: the main job on a printer that we can break."""

import argparse
import threading
import time

from client.profile import simulated_profile
from client.simulated.host import SimulatedHost
from client.simulated.scenario import Scenario, load_scenario
from tui.follow import EventPrinter, follow, print_result
from tui.hangup import HangUp
from tui.hosts import open_recorder
from tui.leaving import Leaving
from tui.output import say
from tui.pipeline import Live
from tui.scenarios import DEFAULT_SCENARIO, check_speed, list_scenarios
from tui.sink import survive
from tui.terminal import is_terminal, run_screen


def run(options: argparse.Namespace) -> int:
    """Start the simulated host and watch it over the real socket."""
    if options.list:
        return list_scenarios()
    check_speed(options)
    scenario = load_scenario(options.scenario or DEFAULT_SCENARIO)
    host = SimulatedHost(scenario, options.seed, options.speed)
    address = host.start()
    try:
        return _watch(options, scenario, address)
    finally:
        host.stop()


def _watch(options: argparse.Namespace, scenario: Scenario, address: str) -> int:
    profile = simulated_profile(address, scenario.chains)
    title = f"demo: {scenario.title}"
    recorder = open_recorder(options.output, profile, title) if options.output else None
    plain = options.plain or not is_terminal()
    for_s = options.for_s
    if plain and for_s is None:
        for_s = scenario.for_s
    live = Live(profile, title, recorder, for_s)
    if options.output:
        survive()
    live.start()
    try:
        if plain:
            _plain(live, scenario, options)
        else:
            hang_up = HangUp(ends=True)
            with Leaving(hang_up, live.close):
                try:
                    run_screen(live, options, hang_up)
                finally:
                    live.close()
    finally:
        live.close()
    if live.fatal is not None:
        raise live.fatal
    return 0


def _plain(live: Live, scenario: Scenario, options: argparse.Namespace) -> None:
    say(f"{scenario.title}: scenario {scenario.name}, seed {options.seed}, {options.speed:g}×")
    try:
        follow(live, EventPrinter(), threading.Event(), time.sleep)
    except KeyboardInterrupt:
        live.close()
    print_result(live)
