"""What a host says in words: which texts message rules are tried on, and how long a stop lasts.

Rules are tried on the `message` that the profile maps; on every text of a message that gives no
reading; where no `message` is mapped, on every other text as well that is read as nothing else;
and on a state that the profile gives no meaning. A text to which a rule applies is told as the
message where there is none.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from client.jsonrpc import ENVELOPE
from client.plan import Plan, PlannedRule
from shared.text import clean
from shared.updates import Value
from shared.words import HostState, quantity_of

MESSAGE_KEY = "host.message"
STATE_KEY = "host.state"
SAID_KEY = "host.said"
"""The host's own text for a stop, where its state is told as text."""
UPTIME_KEY = "controller.uptime_s"
MAX_TEXTS = 1000
"""Texts of one message that rules are tried on."""
_OURS = {str(word) for word in HostState}


def tells_a_state(rules: Iterable[PlannedRule], text: str) -> bool:
    """Whether the rule that a text fits says what state the host is in."""
    rule = _rule_for(rules, text)
    return rule is not None and STATE_KEY in rule.values


def _rule_for(rules: Iterable[PlannedRule], text: str) -> PlannedRule | None:
    return next((rule for rule in rules if rule.pattern.search(text)), None)


class Words:
    """Applies a profile's message rules."""

    def __init__(self, plan: Plan) -> None:
        self._rules = plan.rules
        self._is_mapped = any(leaf.key == MESSAGE_KEY for leaf in plan.all_leaves)
        self._names = {listed.name for listed in plan.lists}
        self._stood: set[str] = set()
        """Texts to which a rule applied in the readings before: they mean nothing new."""
        self.taken: set[str] = set()
        """Texts of this message that are read as a state, a flag or a number."""
        self.state = ""
        """State by the newest words alone; empty where they tell none, or the host says it too."""

    def hear(self, message: Any, values: dict[str, Value]) -> None:
        """Add to the values of a message what its words mean."""
        self.state = ""
        if not self._rules:
            return
        self._hear_state(values)
        said, is_read = str(values.get(MESSAGE_KEY, "")), bool(values)
        texts = [said] if said else []
        if not self._is_mapped or not is_read:
            texts += self._others(message)
        made: dict[str, Value] = {}
        applied = set()
        for text in texts:
            rule = _rule_for(self._rules, text)
            if rule is None:
                continue
            applied.add(text)
            if text not in self._stood or not is_read:
                made = {**rule.values, **made}
                if rule.keep:
                    made.setdefault(MESSAGE_KEY, said or text)
            if text == said and not rule.keep:
                del values[MESSAGE_KEY]
        if values.get(STATE_KEY) != made.get(STATE_KEY):
            self.state = str(made.get(STATE_KEY, ""))
        values |= made
        if is_read:
            self._stood = applied

    def _hear_state(self, values: dict[str, Value]) -> None:
        """What a state means of which the profile's words say nothing."""
        state = str(values.get(STATE_KEY, ""))
        rule = _rule_for(self._rules, state) if state and state not in _OURS else None
        if rule is not None and STATE_KEY in rule.values:
            values |= {SAID_KEY: state, **rule.values}

    def _others(self, message: Any) -> Iterator[str]:
        """Texts of a message that are read as nothing else, cleaned, in their order."""
        if type(message) is dict:
            message = {name: each for name, each in message.items() if name not in ENVELOPE}
        left, found = [message], 0
        while left and found < MAX_TEXTS:
            one = left.pop()
            if type(one) is dict:
                left += reversed(one.values())
            elif type(one) is list:
                left += reversed(one)
            elif type(one) is str and one not in self.taken and one not in self._names:
                found += 1
                yield clean(one)


class RunsAgain:
    """Whether a machine that was stopped by words alone runs again, which no words tell.

    It does where a target is set after all were off, and where the controller starts anew. What
    the host itself says of its state counts before that.
    """

    def __init__(self) -> None:
        self._is_stopped = self._was_off = False
        self._targets: dict[str, float] = {}
        self._uptime_s = 0.0

    def seen(self, values: dict[str, Value], by_words: str) -> bool:
        """Take the values of an update, and the state that a rule made of its words, if any."""
        for key, value in values.items():
            if type(value) is float and quantity_of(key) == "target_c":
                self._targets[key] = value
        is_heated = any(target_c > 0.0 for target_c in self._targets.values())
        uptime_s = values.get(UPTIME_KEY, self._uptime_s)
        fell, self._uptime_s = float(uptime_s) < self._uptime_s, float(uptime_s)
        if STATE_KEY in values:
            self._is_stopped, self._was_off = by_words == HostState.HALTED, False
        if not self._is_stopped:
            return False
        self._was_off = self._was_off or not is_heated
        if not fell and not (is_heated and self._was_off):
            return False
        self._is_stopped = False
        return True
