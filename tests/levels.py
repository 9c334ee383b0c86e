"""What `make test` runs of a family of cases, and what the gate adds (`make test-long`)."""

import os
from collections.abc import Iterable
from typing import Any

import pytest

IS_GATE = os.environ.get("OHMVIGIL_TESTS") == "gate"
"""Whether properties are held against all of their examples."""


def one_in(count: int, cases: Iterable[Any]) -> list[Any]:
    """Cases to parametrise with: the first and every `count`-th after it are always run.

    The others are marked `long`. A count without a common divisor with the cases of each
    argument goes round all of them.
    """
    return [case if at % count == 0 else _long(case) for at, case in enumerate(cases)]


def first(count: int, cases: Iterable[Any]) -> list[Any]:
    """Same, with the first `count` cases always run."""
    return [case if at < count else _long(case) for at, case in enumerate(cases)]


def some(examples: int) -> int:
    """A quarter of a property's examples in `make test`, and all of them at the gate."""
    return examples if IS_GATE else max(examples // 4, 1)


def _long(case: Any) -> Any:
    if hasattr(case, "marks"):
        return pytest.param(*case.values, marks=pytest.mark.long, id=case.id)
    values = case if isinstance(case, tuple) else (case,)
    return pytest.param(*values, marks=pytest.mark.long)
