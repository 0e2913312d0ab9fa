"""Words that stand in the headers of force files, in several languages, and what they mean."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

_TIME = frozenset(
    [
        "time",
        "t",
        "zeit",
        "tiempo",
        "temps",
        "tempo",
        "tijd",
        "tid",
        "czas",
        "aika",
        "cas",
        "zaman",
        "timestamp",
        "clock",
        "uhrzeit",
        "hora",
        "heure",
        "ora",
        "sec",
        "secs",
        "second",
        "seconds",
        "sekunden",
        "segundos",
        "secondes",
        "secondi",
        "msec",
        "elapsed",
    ]
)
_SAMPLE = frozenset(
    [
        "sample",
        "samples",
        "frame",
        "frames",
        "index",
        "idx",
        "row",
        "count",
        "counter",
        "point",
        "item",
        "nr",
        "nummer",
        "muestra",
        "echantillon",
        "campione",
        "amostra",
        "prove",
        "abtastwert",
        "messpunkt",
        "scan",
    ]
)
_FORCE = frozenset(
    [
        "force",
        "forces",
        "kraft",
        "krafte",
        "bodenkraft",
        "bodenreaktionskraft",
        "fuerza",
        "fuerzas",
        "forza",
        "forze",
        "forca",
        "kracht",
        "sila",
        "sily",
        "voima",
        "kuvvet",
        "grf",
        "vgrf",
        "grfv",
        "grfz",
        "grfy",
        "grfx",
        "vgrfz",
        "load",
        "last",
        "charge",
        "carga",
        "carico",
        "fp",
    ]
)
_VERTICAL = frozenset(
    ["vertical", "vert", "vertikal", "vertikale", "verticale", "verticaal", "pystysuora", "pionowa"]
)
_OTHER = frozenset(
    [
        "moment",
        "moments",
        "torque",
        "momento",
        "cop",
        "copx",
        "copy",
        "copz",
        "mx",
        "my",
        "mz",
        "tx",
        "ty",
        "tz",
        "velocity",
        "speed",
        "acceleration",
        "displacement",
        "position",
        "power",
        "impulse",
        "trigger",
        "sync",
        "emg",
        "temperature",
        "temp",
        "angle",
        "geschwindigkeit",
        "beschleunigung",
        "weg",
        "leistung",
        "velocidad",
        "potencia",
        "vitesse",
        "puissance",
        "ax",
        "ay",
        "az",
        "px",
        "py",
        "pz",
        "battery",
        "marker",
        "event",
        "phase",
        "flag",
        "energy",
        "work",
        "hohe",
        "height",
        "rfd",
        "stiffness",
        "jerk",
        "average",
        "mean",
        "median",
        "sd",
        "std",
    ]
)
_LEFT = frozenset(
    [
        "left",
        "l",
        "links",
        "linke",
        "linker",
        "linkes",
        "li",
        "gauche",
        "izquierda",
        "izquierdo",
        "izq",
        "esquerda",
        "esquerdo",
        "sinistra",
        "sinistro",
        "sx",
        "vanster",
        "venstre",
        "vasen",
        "lewa",
        "lewy",
        "leva",
        "levy",
        "lt",
        "lhs",
    ]
)
_RIGHT = frozenset(
    [
        "right",
        "r",
        "rechts",
        "rechte",
        "rechter",
        "rechtes",
        "re",
        "droite",
        "droit",
        "derecha",
        "derecho",
        "der",
        "direita",
        "direito",
        "destra",
        "destro",
        "dx",
        "hoger",
        "hojre",
        "hoyre",
        "oikea",
        "prawa",
        "prawy",
        "prava",
        "pravy",
        "rt",
        "rhs",
    ]
)
_TOTAL = frozenset(
    [
        "total",
        "sum",
        "summe",
        "gesamt",
        "gesamtkraft",
        "both",
        "combined",
        "totale",
        "totaal",
        "suma",
        "somme",
        "soma",
        "somma",
        "total",
        "yhteensa",
        "summa",
        "samlet",
        "razem",
        "celkem",
    ]
)
_CHANGED = frozenset(
    [
        "filtered",
        "filt",
        "smoothed",
        "smooth",
        "gefiltert",
        "geglattet",
        "filtre",
        "filtrado",
        "filtrata",
        "lowpass",
        "raw",
    ]
)

#: word in a header -> unit of force, as ``cmjlab.units.FORCE_UNITS`` and Layout name it
_FORCE_UNIT_WORDS = {
    "n": "N", "nt": "N", "newton": "N", "newtons": "N",
    "kn": "kN", "kilonewton": "kN", "kilonewtons": "kN",
    "kgf": "kgf", "kg": "kgf", "kp": "kgf", "kilogram": "kgf", "kilograms": "kgf", "kilogramme": "kgf",
    "kilopond": "kgf", "lbf": "lbf", "lb": "lbf", "lbs": "lbf", "pound": "lbf", "pounds": "lbf",
    "v": "V", "volt": "V", "volts": "V", "mv": "mV", "millivolt": "mV", "mv/v": "mV/V",
}  # fmt: skip
_TIME_UNIT_WORDS = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "sek": "s", "sekunden": "s",
    "segundos": "s", "secondes": "s", "secondi": "s", "seg": "s",
    "ms": "ms", "msec": "ms", "msecs": "ms", "millisecond": "ms", "milliseconds": "ms",
    "millisekunden": "ms", "milisegundos": "ms", "us": "us", "µs": "us", "μs": "us",
    "microsecond": "us", "microseconds": "us", "min": "min", "minutes": "min",
}  # fmt: skip
_OTHER_UNITS = frozenset(
    [
        "m",
        "mm",
        "cm",
        "m/s",
        "m/s²",
        "m/s^2",
        "m/s2",
        "g",
        "deg",
        "°",
        "rad",
        "rad/s",
        "nm",
        "n·m",
        "nmm",
        "n.m",
        "n*m",
        "n-m",
        "n·mm",
        "ntmm",
        "w",
        "kw",
        "j",
        "%",
        "°c",
        "bw",
        "n/kg",
        "w/kg",
        "%",
        "bw",
        "%bw",
        "xbw",
        "n/bw",
        "-",
        "a.u.",
        "au",
        "#",
        "frame",
        "frames",
        "index",
        "bits",
        "counts",
        "count",
        "n·s",
        "ns",
        "n*s",
    ]
) | {"% bw", "n m"}

_BRACKETED = re.compile(r"[\[({]\s*([^\])}]*?)\s*[\])}]")
_TAIL = re.compile(
    r"(?:[_,/ ]|\bin )\s*(n|kn|kgf|kg|kp|lbf|lbs|lb|mv/v|mv|volts?|newtons?|s|sec|ms|us|µs)$"
)
_CAMEL = re.compile(r"(?<=[a-zäöü])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-zäöü]{2})")
_TOKENS = re.compile(r"[a-z]+|\d+|#")
_COMPACT = re.compile(r"(l|r|left|right)?(v)?(grf|force|frc|f)(x|y|z|v)?(l|r|left|right)?")


@dataclass(frozen=True)
class Heading:
    """Meaning of a column's header.

    ``quantity`` is "time", "sample", "force", "other" or "" (not known); ``axis`` "x", "y",
    "z", "v" (vertical) or ""; ``side`` "left", "right", "total" or ""; ``plate`` a number or 0.
    """

    quantity: str = ""
    axis: str = ""
    side: str = ""
    plate: int = 0
    unit: str = ""
    changed: bool = False


def plain(text: str) -> str:
    """Return lower-case text without accents, for comparing words."""
    text = unicodedata.normalize(
        "NFKD", text.replace("ß", "ss").replace("ø", "o").replace("ł", "l")
    )
    return "".join(c for c in text if not unicodedata.combining(c)).lower()


def unit_of(text: str) -> str:
    """Return the unit a cell names ("N", "kN", "ms", ...), "other" for further units, "" for none."""
    word = text.strip().strip("[](){}").strip().lower()
    if word in _TIME_UNIT_WORDS:
        return _TIME_UNIT_WORDS[word]
    if word in _FORCE_UNIT_WORDS:
        return _FORCE_UNIT_WORDS[word]
    return "other" if word in _OTHER_UNITS else ""


def is_time_unit(unit: str) -> bool:
    """Return whether a unit from :func:`unit_of` is one of time."""
    return unit in ("s", "ms", "us", "min")


def read_heading(name: str, group: str = "", unit: str = "") -> Heading:
    """Return what a header says of its column.

    Parameters
    ----------
    name : str
        Header of the column, such as "Left Fz [N]".
    group : str
        Header above it, such as "Plate 1".
    unit : str
        Its cell of the units row.
    """
    found, rest = _split_unit(name)
    stated = unit_of(unit) or found
    words = _TOKENS.findall(plain(_CAMEL.sub(" ", rest)))
    above = _TOKENS.findall(plain(_CAMEL.sub(" ", group)))
    return _meaning(words, above, stated)


def _split_unit(name: str) -> tuple[str, str]:
    """Take the unit out of a header: ("N", "Fz") for "Fz [N]"."""
    for match in _BRACKETED.finditer(name):
        if match[1].lower().startswith("hh:mm"):
            return "", name[: match.start()]
        unit = unit_of(match[1])
        if unit:
            return unit, name[: match.start()] + " " + name[match.end() :]
    tail = _TAIL.search(name.strip().lower())
    if tail and tail.start() > 0:
        return unit_of(tail[1]), name.strip()[: tail.start()]
    return "", name


def _meaning(words: list[str], above: list[str], unit: str) -> Heading:
    joined = "".join(w for w in words if not w.isdigit())
    compact = _COMPACT.fullmatch(joined) or next(
        (m for w in words if len(w) > 1 and (m := _COMPACT.fullmatch(w))), None
    )
    axis = next((w for w in words if w in ("x", "y", "z")), "")
    side = plate = None
    quantity = ""
    every = words + above
    if compact:
        quantity = "force"
        axis = axis or compact[4] or ("v" if compact[2] else "")
        letter = (compact[1] or compact[5] or "")[:1]
        side = {"l": "left", "r": "right"}.get(letter)
    for marks, word in ((_LEFT, "left"), (_RIGHT, "right"), (_TOTAL, "total")):
        if side is None and any(w in marks for w in every):
            side = word
    if any(w in _FORCE or w.startswith("bodenkraft") for w in words):
        quantity = "force"
    if any(w in _VERTICAL or w == "v" for w in words) or any(w.endswith("grfv") for w in words):
        axis = axis or "v"
    if any(w in ("vgrf", "vgrfz", "grfz") for w in words):
        axis = axis or ("v" if "vgrf" in words else "z")
    quantity = _other_quantity(words, unit, quantity)
    numbers = [int(w) for w in every if w.isdigit() and 0 < int(w) < 100]
    plate = numbers[0] if numbers and quantity in ("force", "") else 0
    return Heading(
        quantity, axis, side or "", plate, unit, changed=any(w in _CHANGED for w in words)
    )


def _other_quantity(words: list[str], unit: str, quantity: str) -> str:
    if any(w in _OTHER for w in words) or unit == "other":
        return "other"
    if quantity:
        return quantity
    if any(w in _TIME for w in words):
        return "time"
    if any(w in _SAMPLE or w == "#" for w in words) or words == ["no"]:
        return "sample"
    if is_time_unit(unit):
        return "time"
    if unit in ("N", "kN", "kgf", "lbf"):
        return "force"
    return ""
