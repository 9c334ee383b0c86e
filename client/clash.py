"""Why a value was refused, and what to write in the profile."""

from client.form import Reading
from client.units import DIMENSION_OF, DIMENSIONS, UNITS
from client.values import NO_VALUE, said_in
from shared.text import clean
from shared.words import SENSOR_QUANTITIES

_MOST = 40
_HEATS = ("target_c", "power")
_OFF = {"off", "none", "no", "idle", "disabled", "inactive", "cold", "-", "--"}
"""Words that mean 0 where a heater's target or power stands; nowhere else does one."""


def clash(quantity: str, reading: Reading, said: str) -> str:
    """What stands against a value that was refused, and what to do, in one line."""
    shown = f"the host says '{clean(said, _MOST)}'"
    measured = DIMENSION_OF.get(quantity, "")
    found = said_in(said)
    if said in ("an object", "an array"):
        return f"{said} stands there: point further into it"
    if not measured and quantity != "code":
        return f"{shown}, which cannot be {quantity}: check the pointer"
    if said in ("True", "False") and quantity not in SENSOR_QUANTITIES:
        return f'{shown}: write words = {{ true = "1", false = "0" }} if it means on and off'
    if found is None:
        return f"{shown}, which is no number: {_for_word(quantity, clean(said, _MOST))}"
    if not found.unit:
        if measured and not reading.unit:
            units = ", ".join(unit for unit, each in DIMENSIONS.items() if each == measured)
            return f"{shown}, a number as text: say its unit, one of {units}"
        return f"{shown}, which is too large or no number here: check the pointer"
    if not measured:
        return f"{shown}, and a {quantity} has no unit: check the pointer"
    other = DIMENSIONS[found.unit]
    if other != measured:
        return f"{shown}, a {other}, and {quantity} is a {measured}: check the pointer"
    has = f'unit = "{reading.unit}"' if reading.unit in UNITS and reading.unit else "no unit"
    return f'{shown}, and the profile has {has}: write unit = "{found.unit}"'


def _for_word(quantity: str, word: str) -> str:
    """What to write for a word in a number's place: 0 is safe for a heater that is off alone."""
    word = word.lower() if word in ("True", "False") else word or "…"
    meant = f'words = {{ "{word}" = '
    if quantity in _HEATS and word.strip().lower() in _OFF:
        return f'{meant}"0" }} if it means off'
    return f'{meant}"{NO_VALUE}" }} if it means that there is no value, else check the pointer'
