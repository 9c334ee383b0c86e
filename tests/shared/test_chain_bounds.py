"""Chain facts that cannot be are refused, naming the key, the value and the bound."""

from typing import Any

import msgspec
import pytest

from shared.chain import Chain, check_chain


def test_the_usual_chain_passes() -> None:
    """Every default is within its bounds, and so is a bench chain with nothing in the way."""
    check_chain(Chain())
    check_chain(Chain(contact_ohm=0.0, lead_m=0.0, noise_codes=0.0, capacitance_nf=0.0))


@pytest.mark.parametrize(
    "key", [f.name for f in msgspec.structs.fields(Chain) if f.type in (float, float | None)]
)
@pytest.mark.parametrize("value", [-1.0, float("nan"), float("inf"), -float("inf"), 1e12])
def test_every_number_has_a_bound(key: str, value: float) -> None:
    """Also those that a later version adds."""
    facts: dict[str, Any] = {key: value}
    with pytest.raises(ValueError, match=rf"^{key} is .*it must be"):
        check_chain(Chain(**facts))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("r0_ohm", 0.0),
        ("reference_ohm", 0.0),
        ("bits", 7),
        ("bits", 25),
        ("lead_awg", 51),
        ("curve", "iec-60752"),
        ("host_curve", ""),
    ],
)
def test_zero_ohms_absurd_bits_and_unknown_curves(key: str, value: Any) -> None:
    """What would divide by nothing, or mean nothing."""
    facts: dict[str, Any] = {key: value}
    with pytest.raises(ValueError, match=rf"^{key} is "):
        check_chain(Chain(**facts))
