"""Units that a host may use, as factor and offset to ours: ours = theirs · factor + offset."""

UNITS: dict[str, tuple[float, float]] = {
    "": (1.0, 0.0),
    "celsius": (1.0, 0.0),
    "kelvin": (1.0, -273.15),
    "fahrenheit": (5.0 / 9.0, -160.0 / 9.0),
    "decikelvin": (0.1, -273.15),
    "centikelvin": (0.01, -273.15),
    "millikelvin": (1e-3, -273.15),
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
    "cm": (10.0, 0.0),
    "um": (1e-3, 0.0),
    "inch": (25.4, 0.0),
    "mm/s": (1.0, 0.0),
    "mm/min": (1.0 / 60.0, 0.0),
    "s": (1.0, 0.0),
    "ms": (1e-3, 0.0),
    "us": (1e-6, 0.0),
    "ns": (1e-9, 0.0),
    "min": (60.0, 0.0),
    "h": (3600.0, 0.0),
    "d": (86400.0, 0.0),
}
"""Kelvin and fahrenheit by the definitions of the SI brochure and NIST SP 811, exact."""

SUFFIXES: dict[str, str] = {
    **dict.fromkeys(("°C", "℃", "C", "degC", "celsius", "Celsius"), "celsius"),
    **dict.fromkeys(("K", "kelvin", "Kelvin"), "kelvin"),
    **dict.fromkeys(("°F", "℉", "F", "degF", "fahrenheit", "Fahrenheit"), "fahrenheit"),
    **dict.fromkeys(("m°C", "mC"), "millicelsius"),
    **{"mK": "millikelvin", "cK": "centikelvin", "dK": "decikelvin"},
    **dict.fromkeys(("%", "percent", "pct"), "percent"),
    "‰": "permille",
    **dict.fromkeys(("Ω", "Ω", "ohm", "Ohm", "ohms"), "ohm"),
    **dict.fromkeys(("mΩ", "mohm"), "milliohm"),
    **dict.fromkeys(("kΩ", "kohm"), "kiloohm"),
    **{
        name: name for name in ("mm", "m", "mm/s", "mm/min", "s", "ms", "us", "ns", "min", "h", "d")
    },
    **dict.fromkeys(("in", "inch"), "inch"),
    **dict.fromkeys(("µs", "μs"), "us"),
    **dict.fromkeys(("um", "µm", "μm"), "um"),
    "cm": "cm",
    **dict.fromkeys(("sec", "seconds"), "s"),
    **dict.fromkeys(("minute", "minutes"), "min"),
    **dict.fromkeys(("hour", "hours"), "h"),
    **dict.fromkeys(("day", "days"), "d"),
}
"""Units as they stand behind a number: symbols of the SI brochure and of ISO 80000, common short
forms, and the names above. A suffix that is not here is none that a number may have."""

_OF_A_KIND = (
    ("temperature", ("celsius", "kelvin", "fahrenheit", "decicelsius", "centicelsius")),
    ("temperature", ("millicelsius", "decikelvin", "centikelvin", "millikelvin")),
    ("share", ("fraction", "percent", "permille", "byte")),
    ("resistance", ("ohm", "milliohm", "kiloohm")),
    ("length", ("mm", "m", "cm", "um", "inch")),
    ("speed", ("mm/s", "mm/min")),
    ("time", ("s", "ms", "us", "ns", "min", "h", "d")),
)
DIMENSIONS: dict[str, str] = {unit: name for name, units in _OF_A_KIND for unit in units}
"""What each unit measures."""
DIMENSION_OF: dict[str, str] = {
    **dict.fromkeys(("temperature_c", "target_c"), "temperature"),
    **dict.fromkeys(("power", "speed"), "share"),
    "resistance_ohm": "resistance",
    **dict.fromkeys(("x_mm", "y_mm", "z_mm"), "length"),
    **dict.fromkeys(("speed_mm_s", "feed_mm_s"), "speed"),
    "uptime_s": "time",
}
"""What each quantity of ours measures; a code has no unit."""
