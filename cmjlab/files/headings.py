"""Words that stand in the headers of force files, in several languages, and what they mean."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


_TIME = _set(
    """time t zeit tiempo temps tempo tijd tid czas aika cas zaman timestamp clock uhrzeit hora
    zeitstempel heure ora sec secs second seconds sekunden segundos secondes secondi msec elapsed"""
)
_SAMPLE = _set(
    """sample samples frame frames subframe subframes subsample index idx row count counter point
    item nr nummer muestra echantillon campione amostra prove abtastwert messpunkt scan"""
)
_FORCE = _set(
    """force forces kraft krafte bodenkraft bodenreaktionskraft fuerza fuerzas forza forze forca
    kracht sila sily voima kuvvet grf vgrf grfv grfz grfy grfx vgrfz load last charge carga
    carico fp"""
)
_VERTICAL = _set("""vertical vert vertikal vertikale verticale verticaal pystysuora pionowa""")
_OTHER = _set(
    """moment moments torque momento cop copx copy copz mx my mz tx ty tz velocity speed
    acceleration displacement position power impulse trigger sync emg temperature temp angle
    geschwindigkeit beschleunigung weg leistung velocidad potencia vitesse puissance ax ay az px
    py pz battery marker event phase flag energy work hohe height rfd stiffness jerk average
    mean median sd std"""
)
_LEFT = _set(
    """left l links linke linker linkes li gauche izquierda izquierdo izq esquerda esquerdo
    sinistra sinistro sx vanster venstre vasen lewa lewy leva levy lt lhs"""
)
_RIGHT = _set(
    """right r rechts rechte rechter rechtes re droite droit derecha derecho der direita direito
    destra destro dx hoger hojre hoyre oikea prawa prawy prava pravy rt rhs"""
)
_TOTAL = _set(
    """total sum summe gesamt gesamtkraft both combined totale totaal suma somme soma somma total
    yhteensa summa samlet razem celkem"""
)
_PLATE = _set("""plate platform fp plattform platte plataforma plateforme pedana plaat plattan""")
#: Words that turn a name with "force" in it into the place where the force acts.
_PLACE = _set("""point points centre center origin application location lever""")
_CHANGED = _set(
    """filtered filt smoothed smooth gefiltert geglattet filtre filtrado filtrata lowpass raw"""
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
_OTHER_UNITS = _set(
    """m mm cm m/s m/s² m/s^2 m/s2 g deg ° rad rad/s nm n·m nmm n.m n*m n-m n·mm ntmm w kw j % °c
    bw n/kg w/kg % bw %bw xbw n/bw - a.u. au # frame frames index bits counts count n·s ns n*s"""
) | {"% bw", "n m"}

_BRACKETED = re.compile(r"[\[({]\s*([^\])}]*?)\s*[\])}]")
_TAIL = re.compile(
    r"(?:[_,/ ]|\bin )\s*(n|kn|kgf|kg|kp|lbf|lbs|lb|mv/v|mv|volts?|newtons?|s|sec|ms|us|µs)$"
)
_CAMEL = re.compile(r"(?<=[a-zäöü])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-zäöü]{2})")
_TOKENS = re.compile(r"[a-z]+|\d+|#")
_GLUED = re.compile(
    r"(left|right|links|rechts)(force|kraft|grf|fz)|(?:force|kraft|grf|fz)(left|right|links|rechts)"
)
_COMPACT = re.compile(
    r"(?P<before>l|r|left|right)?(?P<up>v)?(?:ground)?(?:reaction)?(?:grf|force|frc|f)"
    r"(?P<axis>v?[xyz]|v)?(?P<behind>l|r|left|right)?"
)
#: A component of a vector: "x", or "vx" where the name says that the vector is a force.
_COMPONENTS = _set("x y z vx vy vz")
#: Words above several columns that make "x", "y", "z" below them force; a plate alone does not.
_FORCE_ABOVE = _FORCE - _set("load last charge carga carico fp")
#: Words above several columns that say that none of them is force.
_OTHER_ABOVE = _PLACE | _set(
    """moment moments torque torques momento cop position positions velocity displacement angle
    angles emg"""
)


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
    if text.isascii():
        return text.lower()
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


def is_component(name: str) -> bool:
    """Return whether a name is only the axis of a vector: "x", "Z", "vy"."""
    return plain(name).strip() in _COMPONENTS


@lru_cache(maxsize=1024)  # the files of a study have the same headers
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
    words, above = _words(rest), _words(group) if group else []
    return _meaning(words, above, stated)


def _words(text: str) -> list[str]:
    """Cut a header into plain words and numbers; capitals inside begin a new word."""
    if not text.islower():
        text = _CAMEL.sub(" ", text.replace("CoP", "COP"))
    return _TOKENS.findall(plain(text))


def _split_unit(name: str) -> tuple[str, str]:
    """Take the unit out of a header: ("N", "Fz") for "Fz [N]"."""
    for match in _BRACKETED.finditer(name) if "[" in name or "(" in name or "{" in name else ():
        if match[1].lower().startswith("hh:mm"):
            return "", name[: match.start()]
        unit = unit_of(match[1])
        if unit:
            return unit, name[: match.start()] + " " + name[match.end() :]
    name = name.strip()
    cut = max(0, len(name) - 9)
    tail = _TAIL.search(name.lower(), cut)
    if tail and tail.start() > 0:
        return unit_of(tail[1]), name[: tail.start()]
    return "", name


def _meaning(words: list[str], above: list[str], unit: str) -> Heading:
    own, every = set(words), {*words, *above}
    quantity = axis = side = ""
    compact = _compact(words)
    if compact:
        quantity = "force"
        axis = (compact["axis"] or compact["up"] or "")[-1:]
        side = {"l": "left", "r": "right"}.get(
            (compact["before"] or compact["behind"] or "")[:1], ""
        )
    for word in words:
        glued = _GLUED.fullmatch(word)  # "kraftlinks", "leftforce"
        if glued:
            quantity, every = "force", every | {glued[1] or glued[3]}
    if own & _FORCE or any(w.startswith("bodenkraft") for w in words):
        quantity = "force"
    component = next((w[-1] for w in words if w in _COMPONENTS), "")
    quantity = _quantity(own, unit, quantity) or _quantity_above(set(above), component, unit)
    if component and (quantity == "force" or component in own):
        axis = component
    if not axis and (own & _VERTICAL or "v" in own):
        axis = "v"
    numbered = bool(compact or every & _PLATE)
    plate = _plate([*words, *above], lettered=bool(every & _PLATE)) if numbered else 0
    return Heading(quantity, axis, side or _side(every), plate, unit, bool(own & _CHANGED))


def _compact(words: list[str]) -> re.Match[str] | None:
    """Return what a name such as "LFz", or else a word of it, says of force; an axis goes first."""
    whole = _COMPACT.fullmatch("".join([w for w in words if not w.isdigit()]))
    if whole:
        return whole
    parts = [m for w in words if len(w) > 1 and (m := _COMPACT.fullmatch(w))]
    return max(parts, key=lambda m: bool(m["axis"])) if parts else None


def _side(words: set[str]) -> str:
    if words & _LEFT:
        return "left"
    if words & _RIGHT:
        return "right"
    return "total" if words & _TOTAL else ""


def _plate(words: list[str], *, lettered: bool) -> int:
    """Return the number of a plate in its name, or of its letter ("plate B": 2), 0 without."""
    numbers = [int(w) for w in words if w.isdigit() and 0 < int(w) < 100]
    if numbers or not lettered:
        return next(iter(numbers), 0)
    return next(("abcd".index(w) + 1 for w in words if w in ("a", "b", "c", "d")), 0)


def _quantity(words: set[str], unit: str, quantity: str) -> str:
    """Return what a column's own words say that it holds."""
    if words & _OTHER or unit == "other":
        return "other"
    if quantity == "force" and words & _PLACE:
        return "other"
    if quantity:
        return quantity
    if words & _TIME:
        return "time"
    if words & _SAMPLE or "#" in words or words == {"no"}:
        return "sample"
    return ""


def _quantity_above(above: set[str], component: str, unit: str) -> str:
    """Return what the words above a column, or else its unit, say that it holds."""
    if above & _OTHER_ABOVE:
        return "other"
    if component and above & _FORCE_ABOVE:
        return "force"
    if is_time_unit(unit):
        return "time"
    return "force" if unit in ("N", "kN", "kgf", "lbf") else ""
