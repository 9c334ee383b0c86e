"""What common words of the trade mean: quantities, channels, units and states.

A host's names are only a hint, which is weighed against the values.
"""

import re
from collections.abc import Iterable

_WORD = re.compile(
    r"(?<![A-Za-z])[mcd][CK](?![A-Za-z])"  # mC, dC, cC: thousandths, tenths, hundredths
    r"|[A-ZÀ-ÖØ-Þ]+(?![a-zß-öø-ÿ])|[A-ZÀ-ÖØ-Þ]?[a-zß-öø-ÿ]+|\d+|%|°|[^\W\d_A-Za-zÀ-ÿ]+"
)

QUANTITY_WORDS: dict[str, str] = {
    # What is measured, and its units, as physics and SI name them.
    **dict.fromkeys(("temp", "temps", "temperature", "temperatures", "thermal"), "temperature_c"),
    **dict.fromkeys(
        ("degree", "degrees", "deg", "celsius", "kelvin", "fahrenheit"), "temperature_c"
    ),
    **dict.fromkeys(("ohm", "ohms", "resistance", "resistances"), "resistance_ohm"),
    **dict.fromkeys(
        ("speed", "velocity", "pace", "velocidad", "vitesse", "velocità"), "speed_mm_s"
    ),
    # Control engineering (IEC 60050-351) and its shop talk.
    **dict.fromkeys(("actual", "measured", "measure", "reading"), "temperature_c"),
    **dict.fromkeys(("target", "targets", "set", "setpoint", "sp", "desired"), "target_c"),
    **dict.fromkeys(("demand", "requested", "setting"), "target_c"),
    **dict.fromkeys(("power", "powers", "duty", "duties", "pwm", "drive", "output"), "power"),
    **dict.fromkeys(("effort",), "power"),
    # Converters give a code, in counts or digits.
    **dict.fromkeys(("code", "codes", "raw", "adc", "counts", "digits"), "code"),
    # Alarms (IEC 62682) and what stands for them.
    **dict.fromkeys(("flag", "flags", "fault", "faults", "alert", "alerts", "alarm"), "flags"),
    **dict.fromkeys(("alarms", "trouble", "troubles", "error", "errors"), "flags"),
    # Machining (ISO 6983 has the feed), and how long a system has been up (RFC 3418).
    **dict.fromkeys(("feed", "feedrate", "vorschub"), "speed_mm_s"),
    **dict.fromkeys(("uptime", "running", "alive", "awake", "age"), "uptime_s"),
    **dict.fromkeys(("state", "status", "phase", "mode", "condition"), "state"),
    **dict.fromkeys(("zustand", "estado", "fase", "état", "etat", "stato", "betriebsart"), "state"),
    **dict.fromkeys(("message", "msg", "text"), "message"),
    # The English dictionary: what people write who name things for people.
    **dict.fromkeys(("warmth",), "temperature_c"),
    **dict.fromkeys(("goal", "goals", "wanted", "want", "aim", "wish"), "target_c"),
    **dict.fromkeys(("should", "ordered", "asked"), "target_c"),
    **dict.fromkeys(("heating", "push", "share"), "power"),
    **dict.fromkeys(("mood", "stage", "activity", "posture", "situation", "doing"), "state"),
    **dict.fromkeys(("remark", "says", "note", "reason", "comment", "words", "said"), "message"),
    # The dictionaries of other languages.
    **dict.fromkeys(
        ("temperatur", "temperatura", "température", "mesure", "medida"), "temperature_c"
    ),
    **dict.fromkeys(
        ("soll", "sollwert", "consigne", "consigna", "objetivo", "cible", "meta", "ziel"),
        "target_c",
    ),
    **dict.fromkeys(("meldung", "mensaje", "aviso", "messaggio", "hinweis"), "message"),
    **dict.fromkeys(("laufzeit", "betriebszeit"), "uptime_s"),
    **dict.fromkeys(("leistung", "puissance", "potencia", "potenza"), "power"),
}
"""Words that name one of our quantities."""

WEAK_TEMPERATURE = {"value", "current", "now", "is", "t", "c", "present", "val", "cur", "pv"}
"""Words that often name a reading, and often something else; `pv` is control engineering's
process variable."""

POSITION_WORDS = {"position", "pos", "xyz", "where", "coordinates", "coords", "place", "location"}
AXES = {"x": "x_mm", "y": "y_mm", "z": "z_mm"}
FAN_WORDS = {
    *("fan", "fans", "blower", "blowers", "cooling", "cooler", "ventilator", "vent", "vents"),
    *("ventola", "ventole", "ventilation", "bellows"),
    *("draught", "draft", "breeze", "gust", "wind", "airflow", "blowing"),
    *("lüfter", "luefter", "gebläse", "geblaese", "ventilador", "ventiladores", "soplador"),
    *("ventilateur", "ventilateurs", "soufflante", "ventoinha"),
}
"""The trade's words for what moves air, the dictionary's, and those of other languages."""
PART_WORDS = {
    *("part", "parts", "object", "print", "model", "layer", "bauteil", "druck", "pieza"),
    *("piece", "pièce", "pezzo"),
}
"""What the fan blows on that heat's balance asks for."""
FEED_WORDS = {"feed", "feedrate", "vorschub", "avance"}
FILAMENT_WORDS = {
    *("filament", "strand", "extrusion", "extruded", "thread", "wire"),
    *("draht", "filamento", "hilo", "filo", "fil"),
}
RATE_WORDS = {"second", "s", "sec", "min", "per", "rate", "speed", "flow", *FEED_WORDS}
"""The trade's words for what is fed, and how fast; in other languages too."""
CLOCK_WORDS = {
    *("time", "clock", "timestamp", "moment", "at", "when", "stamp", "ts", "instant", "epoch"),
    *("hour", "now", "ticks"),
}
"""The dictionary's words for a time of day or a moment, and the trade's short ones."""
WATT_WORDS = {"watt", "watts", "w", "vatio", "vatios", "wattage"}
LIMIT_WORDS = {
    *("max", "min", "limit", "maximum", "minimum", "highest", "lowest", "upper", "lower"),
    *("offset", "version", "id", "index", "count", "seq", "sequence", "progress", "percent"),
    *("port", "number", "total", "layer", "layers", "length", "size", "width", "height"),
    *("kp", "ki", "kd", "pid", "voltage", "volts", "current", "memory", "cpu", "distance"),
    *("history", "past", "trend", "samples", "recent", "trace", "buffer", "average", "mean"),
    *WATT_WORDS,
    *("wh", "kwh", "amps", "amperes", "joules", "rpm"),
    *("humidity", "pressure"),
}
WORKED_OUT = {
    *("avg", "average", "mean", "smooth", "smoothed", "filtered", "median", "peak", "highest"),
    *("lowest", "max", "min", "last", "previous", "prev"),
}
"""Words for what is worked out from readings."""
TIME_WORDS: dict[str, str] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("ms", "msec", "millis", "millisecond", "milliseconds"), "ms"),
    **dict.fromkeys(("us", "usec", "micros", "microsecond", "microseconds"), "us"),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "h"),
    **dict.fromkeys(("d", "day", "days"), "d"),
}
"""Words for units of time."""
NAME_WORDS = {"name", "id", "label", "key", "channel", "what", "which", "called", "title", "tag"}
TOPIC_WORDS = {
    *("topic", "type", "kind", "event", "method", "cmd", "command", "op", "action", "subject"),
    *("source", "from", "to", "sender", "firmware", "model", "machine", "device", "host"),
    *("version", "language", "lang", "file", "filename", "job", "material", "time", "part"),
}
"""Words for texts that say what a message is about, or what a thing is: no state of it."""
NAMES = {"names", "labels", "channels", "sensors", "titles", "ids", "keys", "order"}
"""Words for a list of names."""

CHANNEL_WORDS: dict[str, str] = {
    **dict.fromkeys(("nozzle", "hotend", "hot", "extruder", "head", "tool", "heads"), "nozzle"),
    **dict.fromkeys(("düse", "duese", "boquilla", "buse", "ugello"), "nozzle"),
    **dict.fromkeys(("bett", "druckbett", "heizbett", "cama", "letto"), "bed"),
    **dict.fromkeys(("kammer", "bauraum", "gehäuse", "recinto", "cámara"), "chamber"),
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
    **dict.fromkeys(("mc", "millicelsius", "millidegrees", "mdeg"), "millicelsius"),
    **dict.fromkeys(("cc", "centicelsius", "centidegrees"), "centicelsius"),
    **dict.fromkeys(("dc", "decicelsius", "decidegrees"), "decicelsius"),
    **{"mk": "millikelvin", "ck": "centikelvin", "dk": "decikelvin", "millikelvin": "millikelvin"},
}
LENGTH_WORDS: dict[str, str] = {
    **dict.fromkeys(("um", "µm", "micron", "microns"), "um"),
    **dict.fromkeys(("in", "inch", "inches"), "inch"),
    "cm": "cm",
}
"""Units of length that a name may say; most are millimetres."""
MINUTE_WORDS = {"min", "minute"}
"""In the name of a speed."""
UNIT_KEYS = {
    "unit",
    "units",
    "uom",
    "scale",
    "unita",
    "unità",
    "unité",
    "unite",
    "einheit",
    "eenheid",
    "unidade",
    "unidad",
    "jednostka",
}
PERCENT_WORDS = {"%", "percent", "pct", "pc", "percentage"}
PERMILLE_WORDS = {"permille", "permil"}
OFF_WORDS = {"off", "none", "null", "-", "--", "n/a", "na", "nan", "inactive", "disabled", ""}
"""What stands where a number would, were there one."""

STANDARD_STATES: dict[str, str] = {
    # Batch control, states of a procedure (ISA-88.01, IEC 61512-1).
    **dict.fromkeys(("idle", "running", "holding", "held", "pausing", "paused"), "up"),
    **dict.fromkeys(("restarting",), "starting"),
    **dict.fromkeys(("stopping", "stopped", "aborting", "aborted"), "halted"),
    # State management of systems (ITU-T X.731).
    **dict.fromkeys(("active", "busy", "standby"), "up"),
    **dict.fromkeys(("failed",), "halted"),
    # "off line" there; one word in the dictionary.
    **dict.fromkeys(("offline",), "gone"),
    # Status of devices (NAMUR NE 107) and alarms (IEC 62682).
    **dict.fromkeys(("normal",), "up"),
    **dict.fromkeys(("failure",), "halted"),
}
"""State words of published standards, and ours."""
STATE_WORDS: dict[str, str] = {
    **STANDARD_STATES,
    # The English dictionary: at work, at ease, or well.
    **dict.fromkeys(("printing", "working", "heating", "going", "on", "up", "connected"), "up"),
    **dict.fromkeys(("ready", "online", "operational", "awake", "calm"), "up"),
    **dict.fromkeys(("good", "well", "fine", "ok", "okay", "healthy", "happy"), "up"),
    # Beginning.
    **dict.fromkeys(("start", "starting", "startup", "boot", "booting", "waking"), "starting"),
    **dict.fromkeys(("coming", "becoming"), "starting"),
    **dict.fromkeys(("init", "initialising", "initializing", "connecting", "rising"), "starting"),
    # Brought to a stand, or broken.
    **dict.fromkeys(
        ("stop", "halt", "halted", "shut", "shutting", "shutdown", "tripped"), "halted"
    ),
    **dict.fromkeys(
        ("fault", "error", "emergency", "crashed", "broken", "dead", "upset"), "halted"
    ),
    # Not there.
    **dict.fromkeys(("gone", "lost", "disconnected", "away"), "gone"),
}
"""The same, and what anybody would say for them."""


def words(text: str) -> tuple[str, ...]:
    """Lower-case words of a name: `HotEnd_temp 2` → hot, end, temp, 2."""
    return tuple(word.lower() for word in _WORD.findall(text))


def state_of(word: str) -> str | None:
    """Our state for a host's word, by the first of its words that is known."""
    found = [STATE_WORDS[each] for each in words(word) if each in STATE_WORDS]
    unsure = {"not", "no", "non", "never"} & set(words(word))
    return found[0] if found and not unsure else None


def quantities_of(parts: Iterable[str]) -> set[str]:
    """Our quantities that these words name."""
    return {QUANTITY_WORDS[word] for word in parts if word in QUANTITY_WORDS}


def channel_word(parts: tuple[str, ...]) -> str | None:
    """What a printer's channel of these words is commonly called, None if nothing is known."""
    found = [word for word in parts if word in CHANNEL_WORDS]
    surest = min(found, key=lambda word: word in _LESS_SURE, default=None)
    return None if surest is None else CHANNEL_WORDS[surest]
