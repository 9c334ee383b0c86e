"""Chain facts that options can give, by their names and what they mean."""

Kind = type[float] | type[int] | type[bool] | tuple[str, ...] | tuple[int, ...]

FACTS: dict[str, tuple[Kind, str]] = {
    "r0_ohm": (float, "element at 0 °C, Ω: 100 for Pt100, 1000 for Pt1000"),
    "curve": (("iec-60751", "gost-6651", "us-3911", "jis-3916"), "curve of the element"),
    "tolerance": (("AA", "A", "B", "C"), "tolerance class of IEC 60751"),
    "construction": (("film", "wire-wound"), "how the element is made"),
    "element_drift_k": (float, "how far the element moved with use, half width, K"),
    "hysteresis_k": (float, "between heating and cooling, half width, K"),
    "insulation_mohm": (float, "insulation across the element, MΩ"),
    "self_heating_k_per_mw": (float, "rise of the element per mW, K"),
    "wires": ((2, 3, 4), "wires fitted"),
    "strapped_for": ((2, 3, 4), "wires the board is set for (default: as fitted)"),
    "excitation": (("bias-over-reference", "one-source", "two-sources"), "what drives it"),
    "lead_awg": (int, "gauge of one lead"),
    "lead_mm2": (float, "section of one lead (IEC 60228 class 5), instead of a gauge"),
    "lead_ohm_per_m": (float, "resistance of one lead per metre, instead of both"),
    "lead_m": (float, "length of one lead, one way, m"),
    "contact_ohm": (float, "one connector contact, Ω"),
    "lead_mismatch": (float, "how far leads differ, relative"),
    "stranded": (bool, "stranded wires, ± 15 %% instead of 5: yes or no"),
    "series_ohm": (float, "resistor in each sensing line, Ω"),
    "screened": (bool, "whether the cable has a screen: yes or no"),
    "moving": (bool, "whether the cable moves: yes or no"),
    "capacitance_nf": (float, "across the converter's inputs, nF"),
    "input": (("reference", "divider", "amplifier"), "how resistance becomes a code"),
    "span_low_ohm": (float, "Ω that an amplifier makes 0 of"),
    "span_high_ohm": (float, "Ω that an amplifier makes full scale of"),
    "reference_ohm": (float, "reference resistor, or a divider's pull-up, Ω"),
    "reference_tolerance": (float, "relative: 0.001 is 0.1 %%"),
    "reference_ppm_per_k": (float, "drift of the reference, 1e-6 per kelvin"),
    "bits": (int, "bits of the converter"),
    "offset_of_scale": (float, "converter's offset, half width, part of full scale"),
    "gain_error": (float, "converter's gain error, half width, relative"),
    "inl_of_scale": (float, "converter's linearity (INL), part of full scale"),
    "bias_v": (float, "voltage over reference and element, V"),
    "bias": (("switched", "continuous"), "whether the bias stays on"),
    "noise_codes": (float, "converter's own noise, standard deviation in codes"),
    "conversion_ms": (float, "length of a conversion, ms"),
    "averages": (int, "conversions that make one reading"),
    "period_ms": (float, "from one conversion to the next, ms"),
    "wait_ms": (float, "from bias on to conversion, ms"),
    "mains_hz": (float, "mains frequency, Hz"),
    "bus": (("plugged", "flying"), "how the converter reaches the controller"),
    "bus_m": (float, "length of flying leads, m"),
    "host_r0_ohm": (float, "what the host believes R0 is, Ω"),
    "host_curve": (("iec-60751", "gost-6651", "us-3911", "jis-3916"), "curve the host believes"),
    "host_reference_ohm": (float, "reference the host believes, Ω"),
    "rounding_c": (float, "step of the degrees that the host sends, °C"),
}
"""Every chain fact that an option can give; a test holds it against `shared.chain.Chain`.

Stands here because `--help` may not wait for what `Chain` imports.
"""

PART = {
    **{"reference_ohm": "reference", "bits": "bits", "noise_codes": "noise", "bias_v": "bias"},
    **{"offset_of_scale": "errors"},
    **{"conversion_ms": "conversion", "wait_ms": "wait", "capacitance_nf": "capacitance"},
}
"""Facts that differ from part to part, with their short names: said where they were not told."""
