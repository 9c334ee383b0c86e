"""Learning a host's names: from entries to a proposed profile. No I/O, sends nothing.

entries → sources (which messages) → leaves (where values stand) → channels → draft → text → proof
"""

from client.learn.answers import Answers, answers_in
from client.learn.draft import Draft
from client.learn.found import Proposal
from client.learn.gather import Gatherer
from client.learn.learning import draft_of, learn
from client.learn.text import TextLink, profile_text

__all__ = [
    "Answers",
    "Draft",
    "Gatherer",
    "Proposal",
    "TextLink",
    "answers_in",
    "draft_of",
    "learn",
    "profile_text",
]
