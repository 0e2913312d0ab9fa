"""What words of the trade mean the same, for the search of the catalog.

The page of the glossary searches with the same tables. All words stand here as
:func:`cmjlab.catalog.search.plain_words` leaves them: lower case, American spelling, singular.
Names of single entries do not belong here but to their ``also_called``.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

#: Endings and stems that are spelled in two ways, as patterns with what to write for them; the page
#: of the glossary reads them, too, therefore "$1" as in its script.
SPELLINGS: tuple[tuple[str, str], ...] = (
    ("isation$", "ization"),
    ("ise(d?)$", "ize$1"),
    ("^(kilo|centi|milli|)metre", "$1meter"),
    ("^centre", "center"),
    ("ies$", "y"),
    ("([^sui])s$", "$1"),
)
#: Words side by side that are read as others; the first that fits is taken, longer ones stand first.
TOGETHER: Mapping[str, str] = MappingProxyType(
    {
        "relative to body mass": "relative",
        "relative to body weight": "relative",
        "normalized to body mass": "relative",
        "per body mass": "relative",
        "per body weight": "relative",
        "per kilogram": "relative",
        "per kg": "relative",
        "center of mass": "",
        "center of gravity": "",
        "take off": "takeoff",
        "push off": "pushoff",
        "counter movement": "countermovement",
        "touch down": "touchdown",
    }
)
#: Short forms and words written as one, in full.
IN_FULL: Mapping[str, str] = MappingProxyType(
    {
        "rsimod": "reactive strength index modified",
        "rsim": "reactive strength index modified",
        "rsi": "reactive strength index",
        "rfd": "rate force development",
        "ft": "flight time",
        "ct": "contraction time",
        "ttt": "time takeoff",
        "tts": "time stabilization",
        "grf": "force",
        "com": "",
        "cmj": "jump",
        "bw": "body weight",
        "bodyweight": "body weight",
        "bodymass": "body mass",
        "icc": "intraclass correlation",
        "cv": "coefficient variation",
        "sem": "standard error measurement",
        "te": "typical error",
        "swc": "smallest worthwhile change",
        "mdc": "minimal detectable change",
        "sdc": "smallest detectable change",
        "loa": "limit agreement",
        "ecc": "eccentric",
        "con": "concentric",
        "conc": "concentric",
        "avg": "mean",
        "max": "peak",
        "min": "minimum",
        "vel": "velocity",
        "disp": "displacement",
        "asym": "asymmetry",
        "normalized": "relative",
    }
)
#: What else a word can stand for: where an entry has none of the word itself, these count a little less.
RELATED: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "eccentric": ("braking", "downward"),
        "concentric": ("propulsion", "upward"),
        "propulsive": ("propulsion",),
        "propulsion": ("concentric", "push"),
        "pushoff": ("propulsion", "push"),
        "push": ("propulsion", "concentric"),
        "braking": ("eccentric",),
        "unloading": ("unweighting",),
        "unweighting": ("unloading",),
        "descent": ("downward",),
        "ascent": ("upward", "propulsion"),
        "negative": ("downward",),
        "positive": ("upward", "propulsion"),
        "duration": ("time",),
        "time": ("duration",),
        "displacement": ("depth", "distance"),
        "distance": ("displacement", "depth"),
        "depth": ("displacement",),
        "dip": ("countermovement", "depth"),
        "speed": ("velocity",),
        "peak": ("maximum", "highest"),
        "maximum": ("peak", "highest"),
        "maximal": ("peak", "highest"),
        "highest": ("peak",),
        "average": ("mean",),
        "minimal": ("smallest", "minimum"),
        "minimum": ("smallest", "lowest", "minimal"),
        "smallest": ("minimal", "minimum"),
        "lowest": ("minimum",),
        "meaningful": ("worthwhile",),
        "important": ("worthwhile",),
        "imbalance": ("asymmetry",),
        "symmetry": ("asymmetry",),
        "impact": ("landing",),
        "touchdown": ("landing",),
        "force": ("load",),
        "load": ("force",),
        "frequency": ("rate",),
        "variability": ("spread", "variation"),
        "repeatability": ("reliability",),
        "zeroed": ("zero", "offset", "unloaded"),
        "steadiness": ("stillness",),
    }
)
#: Words that say nothing about which entry is meant.
FILLERS = frozenset(
    [
        "a", "an", "the", "of", "to", "from", "in", "on", "at", "by", "for", "with", "and", "or",
        "not", "is", "as", "per", "during", "vertical", "phase", "value", "metric",
        "m", "s", "n", "w", "j", "kg", "hz", "cm", "ms", "percent",
    ]
)  # fmt: skip
