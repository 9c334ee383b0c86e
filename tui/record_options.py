"""Options of `record` about days on end; imports argparse alone, so that `--help` is fast."""

import argparse


def trust_option(parser: argparse.ArgumentParser) -> None:
    """Option of the commands that open a link."""
    parser.add_argument(
        "--trust",
        action="store_true",
        help="agree, from now on, that this profile sends its secrets where others could read them",
    )


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `record` about waiting, files and what is kept."""
    parser.add_argument(
        "--wait", action="store_true", help="wait for a host that cannot be reached yet"
    )
    parser.add_argument(
        "--end-on-hangup",
        action="store_true",
        help="end, with a complete recording, when the terminal is closed; else it goes on",
    )
    group = parser.add_argument_group(
        "long runs",
        "A new file begins where the last one ends, without a gap. Nothing is ever deleted "
        "unless --keep or --keep-size say so; then the oldest recording of this host in the "
        "folder that holds no event above a notice goes first, and events outlive all quiet.",
    )
    group.add_argument(
        "--new-file-at",
        metavar="AGE|SIZE",
        action="append",
        default=[],
        help="begin a new file at this age or size; may be given for both (24h and 500MB)",
    )
    group.add_argument("--keep", metavar="AGE", help="how long to keep, such as 30d")
    group.add_argument("--keep-size", metavar="SIZE", help="how much to keep, such as 2GB")
