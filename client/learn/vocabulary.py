"""What common words of the trade mean: quantities, channels, units and states.

A host's names are only a hint, which is weighed against the values.
"""

import re

_WORD = re.compile(
    r"(?<![A-Za-z])[mcd][CK](?![A-Za-z])"  # mC, dC, cC: thousandths, tenths, hundredths
    r"|[A-ZÀ-ÖØ-Þ]+(?![a-zß-öø-ÿ])|[A-ZÀ-ÖØ-Þ]?[a-zß-öø-ÿ]+|\d+|%|°|[^\W\d_A-Za-zÀ-ÿ]+"
)

QUANTITY_WORDS: dict[str, str] = {
    **dict.fromkeys(("temp", "temps", "temperature", "temperatures", "thermal"), "temperature_c"),
    **dict.fromkeys(
        ("degree", "degrees", "deg", "celsius", "kelvin", "fahrenheit"), "temperature_c"
    ),
    **dict.fromkeys(("reading", "actual", "measured", "measure", "warmth"), "temperature_c"),
    **dict.fromkeys(
        ("target", "targets", "goal", "goals", "set", "setpoint", "wanted"), "target_c"
    ),
    **dict.fromkeys(("want", "desired", "demand", "aim", "wish", "requested", "sp"), "target_c"),
    **dict.fromkeys(("should", "ordered", "asked", "setting"), "target_c"),
    **dict.fromkeys(("power", "powers", "duty", "duties", "pwm", "drive", "effort"), "power"),
    **dict.fromkeys(
        ("temperatur", "temperatura", "température", "mesure", "medida"), "temperature_c"
    ),
    **dict.fromkeys(("soll", "sollwert", "consigne", "consigna", "objetivo", "cible"), "target_c"),
    **dict.fromkeys(("leistung", "puissance", "potencia", "potenza"), "power"),
    **dict.fromkeys(("output", "heating", "load", "push"), "power"),
    **dict.fromkeys(("code", "codes", "raw", "adc", "counts", "digits"), "code"),
    **dict.fromkeys(("ohm", "ohms", "resistance", "resistances"), "resistance_ohm"),
    **dict.fromkeys(("flag", "flags", "fault", "faults", "alert", "alerts", "alarm"), "flags"),
    **dict.fromkeys(("alarms", "trouble", "troubles", "error", "errors"), "flags"),
    **dict.fromkeys(("speed", "velocity", "feedrate", "feed"), "speed_mm_s"),
    **dict.fromkeys(("uptime", "alive", "awake", "upfor", "running"), "uptime_s"),
    **dict.fromkeys(("state", "status", "phase", "mood", "mode", "condition"), "state"),
    **dict.fromkeys(("message", "msg", "text", "remark", "says", "note", "reason"), "message"),
    **dict.fromkeys(("comment", "words", "said"), "message"),
}
"""Words that name one of our quantities."""

WEAK_TEMPERATURE = {"value", "current", "now", "is", "t", "c", "present", "val", "cur", "pv"}
"""Words that often name a reading, and often something else."""

POSITION_WORDS = {"position", "pos", "xyz", "where", "coordinates", "coords", "place", "location"}
AXES = {"x": "x_mm", "y": "y_mm", "z": "z_mm"}
FAN_WORDS = {"fan", "fans", "blower", "cooling", "ventilator"}
CLOCK_WORDS = {
    *("time", "clock", "timestamp", "moment", "at", "when", "stamp", "ts", "instant", "epoch"),
    *("hour", "eventtime", "now", "ticks"),
}
LIMIT_WORDS = {
    *("max", "min", "limit", "maximum", "minimum", "highest", "lowest", "upper", "lower"),
    *("offset", "version", "id", "index", "count", "seq", "sequence", "progress", "percent"),
    *("port", "number", "total", "layer", "layers", "length", "size", "width", "height"),
    *("kp", "ki", "kd", "pid", "voltage", "volts", "current", "memory", "cpu", "distance"),
    *("history", "past", "trend", "samples", "recent", "trace", "buffer", "average", "mean"),
    *("watt", "watts", "w", "amps", "amperes", "joules", "rpm", "humidity", "pressure"),
}
WORKED_OUT = {
    *("avg", "average", "mean", "smooth", "smoothed", "filtered", "median", "peak", "highest"),
    *("lowest", "max", "min", "last", "previous", "prev"),
}
"""Words for what is worked out from readings."""
NAME_WORDS = {"name", "id", "label", "key", "channel", "what", "which", "called", "title", "tag"}
NAMES = {"names", "labels", "channels", "sensors", "titles", "ids", "keys", "order"}
"""Words for a list of names."""

CHANNEL_WORDS: dict[str, str] = {
    **dict.fromkeys(("nozzle", "hotend", "hot", "extruder", "head", "tool", "heads"), "nozzle"),
    **dict.fromkeys(("bed", "plate", "platform", "surface", "table", "hotbed"), "bed"),
    **dict.fromkeys(("chamber", "enclosure", "cabinet", "air", "ambient", "room"), "chamber"),
    **dict.fromkeys(("board", "electronics", "mainboard", "pcb"), "board"),
}
"""What the channels of a printer are commonly called."""
_LESS_SURE = {"hot", "head", "heads", "tool", "air", "table", "surface"}
"""Words that give way to any other of these, as in `hot plate`."""

UNIT_WORDS: dict[str, str] = {
    **dict.fromkeys(("k", "kelvin"), "kelvin"),
    **dict.fromkeys(("f", "fahrenheit", "degf"), "fahrenheit"),
    **dict.fromkeys(("c", "celsius", "degc", "centigrade"), "celsius"),
    **dict.fromkeys(("mc", "millicelsius", "millidegrees"), "millicelsius"),
    **dict.fromkeys(("cc", "centicelsius", "centidegrees"), "centicelsius"),
    **dict.fromkeys(("dc", "decicelsius", "decidegrees"), "decicelsius"),
}
UNIT_KEYS = {"unit", "units", "scale"}
PERCENT_WORDS = {"%", "percent", "pct", "percentage"}
PERMILLE_WORDS = {"permille", "permil"}
OFF_WORDS = {"off", "none", "null", "-", "--", "n/a", "na", "nan", "inactive", "disabled", ""}
"""What stands where a number would, were there one."""

STATE_WORDS: dict[str, str] = {
    **dict.fromkeys(("ready", "idle", "up", "well", "fine", "ok", "okay", "operational"), "up"),
    **dict.fromkeys(("printing", "running", "busy", "working", "active", "awake"), "up"),
    **dict.fromkeys(("online", "on", "normal", "good", "healthy", "standby", "happy"), "up"),
    **dict.fromkeys(("paused", "heating", "holding", "calm", "going", "connected"), "up"),
    **dict.fromkeys(("starting", "booting", "boot", "waking", "init", "startup"), "starting"),
    **dict.fromkeys(("initialising", "initializing", "connecting", "rising"), "starting"),
    **dict.fromkeys(("stopped", "halted", "halt", "stop", "shutdown", "error"), "halted"),
    **dict.fromkeys(("fault", "failed", "failure", "emergency", "crashed"), "halted"),
    **dict.fromkeys(("upset", "dead", "broken", "aborted", "tripped"), "halted"),
    **dict.fromkeys(("gone", "offline", "lost", "disconnected", "away"), "gone"),
}


def words(text: str) -> tuple[str, ...]:
    """Lower-case words of a name: `HotEnd_temp 2` → hot, end, temp, 2."""
    return tuple(word.lower() for word in _WORD.findall(text))


def state_of(word: str) -> str | None:
    """Our state for a host's word, by the first of its words that is known."""
    found = [STATE_WORDS[each] for each in words(word) if each in STATE_WORDS]
    unsure = {"not", "no", "non", "never"} & set(words(word))
    return found[0] if found and not unsure else None


def quantities_in(parts: tuple[str, ...]) -> set[str]:
    """Our quantities that these words name."""
    return {QUANTITY_WORDS[word] for word in parts if word in QUANTITY_WORDS}


def channel_word(parts: tuple[str, ...]) -> str | None:
    """What a printer's channel of these words is commonly called, None if nothing is known."""
    found = [word for word in parts if word in CHANNEL_WORDS]
    surest = min(found, key=lambda word: word in _LESS_SURE, default=None)
    return None if surest is None else CHANNEL_WORDS[surest]
