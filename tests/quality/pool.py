"""Work shared out over processes, with progress where somebody looks."""

import sys
from collections.abc import Callable, Iterator, Sequence
from multiprocessing import get_context
from typing import TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")


def shared_out(
    work: Callable[[Task], Result], tasks: Sequence[Task], workers: int, what: str
) -> Iterator[Result]:
    """Results in the order of their tasks; the number of workers changes nothing but time."""
    if workers <= 1:
        yield from _told(map(work, tasks), len(tasks), what)
        return
    with get_context("spawn").Pool(workers) as pool:
        yield from _told(pool.imap(work, tasks), len(tasks), what)


def _told(results: Iterator[Result], of: int, what: str) -> Iterator[Result]:
    """Say how far it is: on a terminal in one line, in a pipe not at all."""
    shows = sys.stderr.isatty()
    for done, result in enumerate(results, start=1):
        if shows:
            end = "\n" if done == of else ""
            print(f"\r{what}: {done} of {of}\x1b[K", end=end, file=sys.stderr, flush=True)
        yield result
