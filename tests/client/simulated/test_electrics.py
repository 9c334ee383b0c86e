"""The sensor chain against published values: the curve, copper, codes and flipped bits."""

import math
import random

import pytest

from client.simulated.electrics import SensorChain, extrapolated
from client.simulated.scenario import Sensor
from shared.chain import Chain
from shared.circuit import Lead
from shared.platinum import IEC_60751

FULL = 1 << 16
REFERENCE_OHM = 402.0


class Nominal(random.Random):
    """Parts without spread and a converter without noise."""

    def gauss(self, mu: float = 0.0, sigma: float = 1.0) -> float:
        return mu


def chain_of(**facts: object) -> SensorChain:
    ideal = {"wires": 4, "capacitance_nf": 0.0, "self_heating_k_per_mw": 0.0, **facts}
    believed = ideal.pop("believed", {})
    sensor = Sensor(chain=Chain(**ideal), believed=believed)  # type: ignore[arg-type]
    return SensorChain(sensor, Nominal())


def read(chain: SensorChain, celsius: float) -> SensorChain:
    chain.read(celsius, 0.1)
    return chain


@pytest.mark.parametrize(
    ("celsius", "ohms"),
    [
        (-50.0, 80.306281875),
        (0.0, 100.0),
        (25.0, 109.73465625),
        (100.0, 138.5055),
        (200.0, 175.856),
        (300.0, 212.0515),
        (500.0, 280.9775),
    ],
)
def test_the_chain_follows_iec_60751(celsius: float, ohms: float) -> None:
    """Published values of IEC 60751 for a Pt100, through code and back to degrees."""
    chain = read(chain_of(), celsius)
    assert chain.element_ohm == pytest.approx(ohms, abs=1e-9)
    assert chain.code == round(ohms / REFERENCE_OHM * FULL)
    one_code_c = REFERENCE_OHM / FULL / 0.3
    assert chain.celsius == pytest.approx(celsius, abs=one_code_c / 2)
    assert chain.ohms == pytest.approx(ohms, abs=REFERENCE_OHM / FULL / 2)
    assert chain.flags == ()


def test_two_thin_wires_add_what_copper_tables_say() -> None:
    """1 m of two-wire AWG 26 (wire table, copper at 20 °C) shifts 200 °C by +0.73 °C.

    The cable is at 25 °C, where copper has 0.393 % a kelvin more.
    """
    chain = read(chain_of(wires=2, lead_awg=26, lead_m=1.0, contact_ohm=0.0, bits=24), 200.0)
    assert chain.celsius - 200.0 == pytest.approx(0.73 * (1.0 + 5.0 * 0.00393), abs=0.005)
    chain = read(chain_of(wires=3, lead_awg=26, lead_m=1.0, contact_ohm=0.0, bits=24), 200.0)
    assert chain.celsius == pytest.approx(200.0, abs=1e-3)


def test_a_wrong_reference_scales_every_reading() -> None:
    """432 Ω fitted and 402 Ω believed: 109.735 Ω reads as 102.114 Ω, which is 5.41 °C."""
    chain = read(chain_of(reference_ohm=432.0, believed={"reference_ohm": 402.0}), 25.0)
    assert chain.ohms == pytest.approx(109.73465625 * 402.0 / 432.0, abs=0.01)
    assert chain.celsius == pytest.approx(5.41, abs=0.03)
    assert chain.code == round(109.73465625 / 432.0 * FULL)


@pytest.mark.parametrize(("bit", "shift_c"), [(7, 4.585), (8, -9.151), (10, -36.448), (11, 74.181)])
def test_a_flipped_bit_shifts_by_its_weight(bit: int, shift_c: float) -> None:
    """Computed reference values at 210 °C: code 13681, 15 bits, reference 4.3 · R0."""
    facts = {"reference_ohm": 430.0, "bits": 15}
    straight = read(chain_of(**facts), 210.0)
    assert straight.code == 13681
    chain = chain_of(**facts)
    chain.flip = bit
    read(chain, 210.0)
    assert chain.code == 13681 ^ (1 << bit)
    assert chain.celsius - straight.celsius == pytest.approx(shift_c, abs=0.001)


@pytest.mark.parametrize("wires", [2, 3, 4])
def test_a_parted_element_saturates_the_code_and_raises_open(wires: int) -> None:
    """Nothing but the bias at the input."""
    chain = chain_of(wires=wires)
    chain.is_parted = True
    read(chain, 210.0)
    assert (chain.code, chain.flags) == (FULL - 1, ("open",))
    assert chain.celsius > 850.0


@pytest.mark.parametrize(
    ("wires", "lead", "code", "flags"),
    [
        (2, "force-", FULL - 1, ("open",)),
        (3, "force-", FULL - 1, ("open",)),
        (3, "sense+", FULL - 1, ("open",)),
        (3, "force+", 0, ("open", "short")),
        (4, "force+", 0, ("open", "short")),
        (4, "force-", 0, ("open", "short")),
    ],
)
def test_a_broken_lead_reads_at_its_end_of_the_range(
    wires: int, lead: Lead, code: int, flags: tuple[str, ...]
) -> None:
    """A current lead of three or four wires leaves no volt between the sense inputs: low."""
    chain = chain_of(wires=wires)
    chain.add_ohm(lead, math.inf)
    read(chain, 210.0)
    assert chain.code == pytest.approx(code, abs=2)
    assert chain.flags == flags


def test_a_shorted_element_raises_short() -> None:
    """0.1 Ω across the element is less than 1 % of the range."""
    chain = chain_of()
    chain.shunt_ohm = 0.1
    read(chain, 210.0)
    assert chain.flags == ("short",)
    assert chain.ohms < 0.2


def test_a_board_that_waits_for_a_missing_wire_reads_open() -> None:
    """Two wires on a board strapped for three, terminals not bridged."""
    assert read(chain_of(wires=2, strapped_for=3), 20.0).flags == ("open",)


def test_a_foreign_current_shifts_the_reading_by_its_voltage_over_the_bias() -> None:
    """Ohm's law: 1 mV beside 2 V over 402 Ω + 157.325 Ω reads as 0.2797 Ω more."""
    chain = chain_of(wires=3, bias_v=2.0)
    healthy = read(chain, 150.0).ohms
    chain.ground_v = 1e-3
    assert read(chain, 150.0).ohms - healthy == pytest.approx(1e-3 / (2.0 / 559.325), abs=0.015)


@pytest.mark.parametrize(
    ("wires", "lead", "shift"),
    [
        (2, "force+", 10.0),
        (2, "force-", 10.0),
        (3, "force-", 10.0),
        (3, "sense+", 0.0),
        (3, "force+", -10.0),
        (4, "force+", 0.0),
        (4, "sense-", 0.0),
    ],
)
def test_a_bad_contact_reads_higher_lower_or_not_at_all(
    wires: int, lead: Lead, shift: float
) -> None:
    """10 Ω in the lead whose drop is subtracted read as 10 Ω less; four wires cancel it."""
    healthy = read(chain_of(wires=wires), 150.0).ohms
    chain = chain_of(wires=wires)
    chain.add_ohm(lead, 10.0)
    assert read(chain, 150.0).ohms - healthy == pytest.approx(shift, abs=0.02)


def test_a_larger_filter_keeps_bursts_within_range() -> None:
    """At 50 kHz 100 nF lets a quarter through, 470 nF a twentieth: only one clips."""
    for capacitance_nf, flags in ((100.0, ("input-out-of-range",)), (470.0, ())):
        quiet = read(chain_of(wires=3, capacitance_nf=capacitance_nf), 210.0)
        for volts in (3.0, -3.0):
            chain = chain_of(wires=3, capacitance_nf=capacitance_nf)
            chain.burst_v = volts
            read(chain, 210.0)
            assert chain.flags == flags
            shift = chain.ohms - quiet.ohms
            assert shift * volts > 0.0 if flags else abs(shift) < 0.05
            assert abs(shift) > 2.0 or not flags


def test_a_conversion_of_one_mains_period_is_blind_to_mains() -> None:
    """20 ms hold one period of 50 Hz; of 60 Hz they hold 1.2."""
    quiet = read(chain_of(), 100.0).code
    for hz, is_seen in ((50.0, False), (60.0, True)):
        chain = chain_of(conversion_ms=20.0)
        chain.tone_v, chain.tone_hz = 0.05, hz
        assert (read(chain, 100.0).code != quiet) is is_seen


def test_settling_falls_by_e_each_time_constant() -> None:
    """From 80 % of full scale toward the true code."""
    chain = chain_of()
    true = read(chain, 200.0).code
    chain.begin_settling(0.8, 4.5)
    read(chain, 200.0)
    assert chain.code == pytest.approx(0.8 * FULL, abs=1)
    for _ in range(45):
        read(chain, 200.0)
    assert chain.code - true == pytest.approx((0.8 * FULL - true) / math.e, abs=2)
    for _ in range(800):
        read(chain, 200.0)
    assert chain.code == true


def test_a_lost_reading_leaves_what_the_host_had() -> None:
    """And a stuck line reads all zeros or all ones."""
    chain = read(chain_of(), 100.0)
    code = chain.code
    chain.is_lost = True
    assert read(chain, 200.0).code == code
    chain.clear()
    chain.stuck = True
    assert read(chain, 200.0).code == FULL - 1
    assert "input-out-of-range" in chain.flags
    chain.stuck = False
    assert (read(chain, 200.0).code, chain.flags) == (0, ())


def test_degrees_beyond_the_curve_rise_with_resistance() -> None:
    """Hosts show a number for any code; ours continues the quadratic."""
    shown = [extrapolated(ratio, IEC_60751) for ratio in (0.0, 0.1, 3.95, 4.3, 7.0, 43.0)]
    assert shown == sorted(shown)
    assert all(math.isfinite(value) for value in shown)
