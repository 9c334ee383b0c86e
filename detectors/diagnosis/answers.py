"""What a person answered to a check, and what came of a change: evidence as well."""

from typing import Literal

import msgspec


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """Outcome of a check on a channel; names are of `checks.CATALOGUE`."""

    channel: str
    check: str
    outcome: str


class Trial(msgspec.Struct, frozen=True, kw_only=True):
    """What came of a change to the machine, such as more capacitance.

    `change` is the name of a check that changes something; `result` says what running
    on has shown. `too-early` tells nothing yet.
    """

    channel: str
    change: str
    result: Literal["gone", "fewer", "same", "too-early"]
