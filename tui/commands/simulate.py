"""`ohmvigil simulate`: only the simulated host, for other clients."""

import argparse
import signal
import threading

from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from client.simulated.truth import TruthLog
from tui.output import say
from tui.scenarios import DEFAULT_SCENARIO, check_speed, list_scenarios
from tui.sink import survive


def run(options: argparse.Namespace) -> int:
    """Serve until interrupted, or until the simulated time is over."""
    if options.list:
        return list_scenarios()
    check_speed(options)
    scenario = load_scenario(options.scenario or DEFAULT_SCENARIO)
    survive()
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    truth = TruthLog(options.truth) if options.truth else None
    host = SimulatedHost(
        scenario,
        options.seed,
        options.speed,
        port=options.port,
        for_s=options.for_s,
        on_moment=truth.write if truth else None,
    )
    say(f"{host.start()}  {scenario.title} (scenario {scenario.name}, seed {options.seed})")
    try:
        while not stop.wait(0.2) and not host.finished:
            pass
    except KeyboardInterrupt:
        pass
    finally:
        host.stop()
        if truth is not None:
            truth.close()
    return 0
