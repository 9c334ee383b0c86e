"""`ohmvigil report`: one page for a bug report."""

import argparse
from collections.abc import Mapping
from pathlib import Path

from recordings.logs import Log
from recordings.report.facts import ReportFacts
from recordings.report.page import write
from recordings.several import Joined, open_logs
from shared.chain import Chain
from shared.errors import BadInput
from shared.text import clean
from tui.chains import chains_from
from tui.commands.export import not_onto_itself
from tui.commands.judge import JudgedLog, judge_log
from tui.output import say
from tui.trial_lines import trial_lines


def run(options: argparse.Namespace) -> int:
    """Judge the log and write its page."""
    if Path(options.output).suffix not in (".html", ".md"):
        raise BadInput(options.output, "no form is known by this name", "end it in .html or .md")
    log = open_logs(options.files)
    try:
        not_onto_itself(log, options.output)
        chains = chains_from(options.profile)
        chains = log.chains if chains is None else chains
        judged = judge_log(log, chains)
        facts = facts_of(log, judged, chains)
        for path in write(options.output, facts, log):
            say(str(path))
    finally:
        log.close()
    return 0


def facts_of(log: Log, judged: JudgedLog, chains: Mapping[str, Chain]) -> ReportFacts:
    """What a report needs, from a log and what was made of it."""
    title = log.meta.get("title")
    more = len(log.paths) - 1 if isinstance(log, Joined) else 0
    name = clean(log.path.name)
    return ReportFacts(
        title=clean(title) if isinstance(title, str) and title else name,
        source=f"{name} and {more} more" if more else name,
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
        chain_states=judged.chains,
        trial_lines=tuple(trial_lines(judged.trials)),
        notes=log.notes,
        meta=log.meta,
    )
