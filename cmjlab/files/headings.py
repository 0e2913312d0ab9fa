"""Words that stand in the headers of force files, in several languages, and what they mean."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


_TIME = _set(
    """time t zeit tiempo temps tempo tijd tid czas aika cas zaman timestamp clock uhrzeit hora
    zeitstempel heure ora sec secs second seconds sekunden segundos secondes secondi msec elapsed"""
)
_SAMPLE = _set(
    """sample samples frame frames index idx row count counter point item nr nummer muestra
    echantillon campione amostra prove abtastwert messpunkt scan"""
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
    return _TOKENS.findall(plain(text if text.islower() else _CAMEL.sub(" ", text)))


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
    compact = _COMPACT.fullmatch("".join(w for w in words if not w.isdigit())) or next(
        (m for w in words if len(w) > 1 and (m := _COMPACT.fullmatch(w))), None
    )
    if compact:
        quantity = "force"
        axis = compact[4] or ("v" if compact[2] else "")
        side = {"l": "left", "r": "right"}.get((compact[1] or compact[5] or "")[:1], "")
    axis = next((a for a in ("x", "y", "z") if a in own), axis)
    for word in words:
        glued = _GLUED.fullmatch(word)  # "kraftlinks", "leftforce"
        if glued:
            quantity, every = "force", every | {glued[1] or glued[3]}
    if not side:
        if every & _LEFT:
            side = "left"
        elif every & _RIGHT:
            side = "right"
        elif every & _TOTAL:
            side = "total"
    if own & _FORCE or any(w.startswith("bodenkraft") for w in words):
        quantity = "force"
    if not axis and (own & _VERTICAL or "v" in own):
        axis = "v"
    quantity = _other_quantity(own, unit, quantity)
    numbers = [int(w) for w in (*words, *above) if w.isdigit() and 0 < int(w) < 100]
    plate = numbers[0] if numbers and (compact or every & _PLATE) else 0
    return Heading(quantity, axis, side, plate, unit, bool(own & _CHANGED))


def _other_quantity(words: set[str], unit: str, quantity: str) -> str:
    if words & _OTHER or unit == "other":
        return "other"
    if quantity:
        return quantity
    if words & _TIME:
        return "time"
    if words & _SAMPLE or "#" in words or words == {"no"}:
        return "sample"
    if is_time_unit(unit):
        return "time"
    if unit in ("N", "kN", "kgf", "lbf"):
        return "force"
    return ""
