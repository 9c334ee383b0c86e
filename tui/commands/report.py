"""`ohmvigil report`: one page for a bug report."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from shared.errors import BadInput

if TYPE_CHECKING:
    from recordings.logs import Log
    from recordings.report.facts import ReportFacts
    from shared.chain import Chain
    from tui.commands.judge import Judged

EXAMPLE = "ohmvigil report night.ohmv -o night.html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command; imports nothing."""
    parser.add_argument("file", metavar="FILE", help="a recording, a plain log or a bundle")
    parser.add_argument(
        "-o", "--output", metavar="OUT", required=True, help=".html, or .md with pictures beside it"
    )
    parser.add_argument("--profile", metavar="NAME", help="chain facts: a profile's name or file")


def run(options: argparse.Namespace) -> int:
    """Judge the log and write its page."""
    from recordings.logs import open_log
    from recordings.report.page import write
    from tui.chains import chains_from
    from tui.commands.export import not_onto_itself
    from tui.commands.judge import judge_log
    from tui.output import say

    if Path(options.output).suffix not in (".html", ".md"):
        raise BadInput(options.output, "no form is known by this name", "end it in .html or .md")
    log = open_log(options.file)
    try:
        not_onto_itself(options.file, options.output)
        chains = chains_from(options.profile)
        chains = log.chains if chains is None else chains
        judged = judge_log(log, chains)
        facts = facts_of(log, judged, chains)
        for path in write(options.output, facts, log):
            say(str(path))
    finally:
        log.close()
    return 0


def facts_of(log: "Log", judged: "Judged", chains: "Mapping[str, Chain]") -> "ReportFacts":
    """What a report needs, from a log and what was made of it."""
    from recordings.report.facts import ReportFacts
    from shared.text import clean

    title = log.meta.get("title")
    return ReportFacts(
        title=clean(title) if isinstance(title, str) and title else clean(log.path.name),
        source=clean(log.path.name),
        first_s=judged.first_s,
        duration_s=judged.duration_s,
        samples=judged.samples,
        channels=judged.channels,
        verdict=judged.verdict,
        events=tuple(judged.events),
        causes=judged.causes,
        not_evaluated=judged.not_evaluated,
        assumed=judged.assumed,
        chains=chains,
        notes=log.notes,
        meta=log.meta,
    )
