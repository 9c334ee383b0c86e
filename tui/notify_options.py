"""Options of `record` about notifications; imports nothing, so that `--help` is fast."""

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `record`; imports nothing."""
    group = parser.add_argument_group(
        "notifications",
        "The command of --hook runs without a shell and finds the message in its environment: "
        "OHMVIGIL_REASON (event, heartbeat, test), _TITLE, _TEXT, _HOST, _KIND, _CHANNEL, "
        "_SEVERITY, _TIME (UTC, ISO 8601), _LOG_S, _MORE.",
    )
    group.add_argument("--hook", metavar="COMMAND", help="run this for each message")
    group.add_argument(
        "--notify",
        metavar="URL",
        action="append",
        default=[],
        help="an address of the library apprise, or a file (mode 0600) with one a line",
    )
    group.add_argument(
        "--notify-every", metavar="TIME", default="5m", help="least time between two messages (5m)"
    )
    group.add_argument("--quiet-hours", metavar="FROM-TO", help="such as 22:00-07:00, local time")
    group.add_argument(
        "--urgent", action="store_true", help="failures are told in quiet hours as well"
    )
    group.add_argument(
        "--heartbeat", metavar="TIME", help="say that the watch goes on, such as each 6h"
    )
    group.add_argument("--test-notify", action="store_true", help="send a test message, then end")
