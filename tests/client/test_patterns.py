"""Message patterns: what they find, and what is refused because it could be slow."""

import pytest

from client.patterns import compiled


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        ("(nozzle|bed): too little heat", "Bed: too little heat, 12.5 of 20.0 K"),
        (r"order \"\w\d+\"", 'no such order "W7"'),
        (r"^stopped: .* implausible$", "Stopped: nozzle implausible"),
        ("[+*]", "2 * 2"),
        (r"a\+b\*", "A+B*"),
        ("colou?r", "color"),
        ("x{3}", "xxx"),
        ("[]x]y", "]y"),
    ],
)
def test_a_pattern_is_found_anywhere_without_regard_to_case(pattern: str, text: str) -> None:
    """As the documentation of the patterns says."""
    assert compiled(pattern).search(text)
    assert not compiled(pattern).search("nothing of the kind")


@pytest.mark.parametrize(
    "pattern",
    [
        "(a+)+$",
        "(a|a)*b",
        "(a*)*",
        "(x{2}){30}",
        "a.*b.*c.*d",
        r"(a)\1",
        "(?=a)",
        "(?:a)",
        "(?P<n>a)",
        "a**",
        "(",
        "[a",
        "",
        "a" * 201,
        "a{99999999999999999999}",
        "a?" * 9,
    ],
)
def test_a_pattern_that_could_be_slow_or_is_none_is_refused(pattern: str) -> None:
    """Repeated groups, references, look-around, too many repeats, and what does not parse."""
    with pytest.raises(ValueError):
        compiled(pattern)
