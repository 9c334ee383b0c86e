"""What is told of the link, as text and taken apart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.link import How, LinkSaid, What, held_up, late, link_said, lost, others, tried


@given(how=st.sampled_from(How), words=st.text("abc (1012)é:", max_size=60))
def test_a_loss_and_a_try_come_back_as_they_were_told(how: How, words: str) -> None:
    """Kind and words, with spaces made single."""
    cleaned = " ".join(words.split())
    assert link_said(lost(how, words)) == LinkSaid(What.LOST, how, cleaned)
    assert link_said(tried(how, words)) == LinkSaid(What.TRIED, how, cleaned)


def test_numbers_come_back_as_they_were_told() -> None:
    """Seconds to a tenth, hosts as counts."""
    assert link_said(held_up(4.24)) == LinkSaid(What.HELD_UP, number=4.2)
    assert link_said(late(30.0)) == LinkSaid(What.LATE, number=30.0)
    assert link_said(others(1, 3)) == LinkSaid(What.OTHERS, number=1.0, of=3)


@pytest.mark.parametrize("text", ["", "lost", "late", "late x", "others 1", "open sesame", "up"])
def test_other_texts_are_no_telling(text: str) -> None:
    """A plain log may hold anything under the key."""
    assert link_said(text) is None


def test_a_way_of_ending_that_is_not_known_here_keeps_its_words() -> None:
    """A recording of a later version still says something."""
    assert link_said("lost melted: the cable melted") == LinkSaid(
        What.LOST, How.OTHER, "the cable melted"
    )
