"""Units that a host may use, as factor and offset to ours: ours = theirs · factor + offset."""

UNITS: dict[str, tuple[float, float]] = {
    "": (1.0, 0.0),
    "celsius": (1.0, 0.0),
    "kelvin": (1.0, -273.15),
    "fahrenheit": (5.0 / 9.0, -160.0 / 9.0),
    "decicelsius": (0.1, 0.0),
    "centicelsius": (0.01, 0.0),
    "millicelsius": (1e-3, 0.0),
    "fraction": (1.0, 0.0),
    "percent": (1e-2, 0.0),
    "permille": (1e-3, 0.0),
    "byte": (1.0 / 255.0, 0.0),
    "ohm": (1.0, 0.0),
    "milliohm": (1e-3, 0.0),
    "kiloohm": (1e3, 0.0),
    "mm": (1.0, 0.0),
    "m": (1e3, 0.0),
    "inch": (25.4, 0.0),
    "mm/s": (1.0, 0.0),
    "mm/min": (1.0 / 60.0, 0.0),
    "s": (1.0, 0.0),
    "ms": (1e-3, 0.0),
    "us": (1e-6, 0.0),
    "ns": (1e-9, 0.0),
    "min": (60.0, 0.0),
    "h": (3600.0, 0.0),
}
"""Kelvin and fahrenheit by the definitions of the SI brochure and NIST SP 811, exact."""

CLOCK_UNITS = ("s", "ms", "us", "ns", "iso")
"""Units of a host clock; "iso" is date and time as text, ISO 8601."""
