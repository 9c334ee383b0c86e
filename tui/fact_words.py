"""The facts of an event in words.

Detectors hand facts on under short names (`Event.facts`), which the diagnosis and `judge`
read. A person reads phrases; facts that only serve the diagnosis have none.
"""

from collections.abc import Callable, Mapping

from shared.events import Event

__all__ = ["fact_words"]

_Phrase = Callable[[float], str]


def _times(number: float) -> str:
    return f"{number:,.0f}" if number >= 10 else f"{number:.2g}"


def _signed(number: float, unit: str) -> str:
    size = f"{abs(number):,.0f}" if abs(number) >= 1000 else f"{abs(number):.3g}"
    return f"{'−' if number < 0 else '+'}{size} {unit}"


_NUMBERS: Mapping[str, _Phrase] = {
    "bit": lambda n: f"bit {n:.0f}",
    "first_reading": lambda n: "before any good reading" if n else "",
    "delta_c": lambda n: _signed(n, "°C"),
    "delta_ohm": lambda n: _signed(n, "Ω"),
    "delta_codes": lambda n: _signed(n, "codes"),
    "duration_s": lambda n: f"one lasted {n:.2g} s",
    "full": lambda n: f"{n:.0%} wholly open",
    "positive_share": lambda n: f"{n:.0%} upward",
    "moving": lambda n: f"{n:.0%} while moving",
    "noise_c": lambda n: f"noise {n:.2g} °C",
    "ratio": lambda n: f"{_times(n)} times its own",
    "after_start_s": lambda n: f"{n:.1f} s after the start",
    "settled_s": lambda n: f"settled in {n:.0f} s",
    "limit_s": lambda n: f"limit {n:.3g} s",
    "offset_c": lambda n: _signed(n, "°C"),
    "others_c": lambda n: f"the others say {n:.1f} °C",
    "implied_lead_ohm": lambda n: f"as of {n:.2g} Ω of leads" if n > 0 else "",
    "implied_gain": lambda n: f"or of a gain of {n:.3f}",
    "power": lambda n: f"power {n:.0%}",
    "own_power": lambda n: f"usually {n:.0%}",
    "rate_c_s": lambda n: _signed(n, "°C/s"),
    "residual_c": lambda n: f"{_signed(n, '°C')} off what the power makes",
    "off_s": lambda n: f"power off for {n:.0f} s",
    "rows": lambda n: f"{n:.0f} equal readings",
    "limit_rows": lambda n: f"limit {n:.0f}",
    "hz": lambda n: f"{n:.2g} Hz as sampled",
    "amplitude_c": lambda n: f"± {n:.2g} °C",
    "p": lambda n: f"by chance {n:.0e}" if n > 0 else "",
}
_WORDS = {"flags": "flags {}", "message": "“{}”", "names": "{}", "of": "of {}"}
_AXES = {"x_mm": "X", "y_mm": "Y", "z_mm": "Z"}


def fact_words(event: Event) -> list[str]:
    """Phrases for what a person wants to know of an event beyond its text, in a steady order."""
    facts = event.facts
    said = [
        words
        for name, value in facts.items()
        if (words := _phrase(name, value)) and words not in event.text
    ]
    return [words for words in (*said, _share(facts), _place(facts)) if words]


def _phrase(name: str, value: float | str) -> str:
    if isinstance(value, str):
        return _WORDS[name].format(value) if value and name in _WORDS else ""
    return _NUMBERS[name](value) if name in _NUMBERS else ""


def _share(facts: Mapping[str, float | str]) -> str:
    """Occurrences and time in the state that an event is tied to, of all."""
    names = ("events", "all_events", "exposure_s", "all_exposure_s")
    numbers = [value for name in names if isinstance(value := facts.get(name), float)]
    if len(numbers) < len(names):
        return ""
    some, every, there, always = numbers
    return f"{some:.0f} of {every:.0f} in {there:.0f} of {always:.0f} s"


def _place(facts: Mapping[str, float | str]) -> str:
    axes = [
        f"{axis} {value:.0f}"
        for name, axis in _AXES.items()
        if isinstance(value := facts.get(name), float)
    ]
    speed = facts.get("speed_mm_s")
    moving = f"{speed:.0f} mm/s" if isinstance(speed, float) else ""
    place = f"last at {' '.join(axes)} mm" if axes else ""
    return " with ".join(part for part in (place, moving) if part)
