"""The licence under which a copy is given away, as an SPDX id (an open list of short names)."""

from __future__ import annotations

import re

from cmjlab.checks import suggestion
from cmjlab.errors import ArgumentError

#: Licences for data, and what they ask in short (SPDX License List; ids from memory).
KNOWN = {
    "CC0-1.0": "no conditions",
    "CC-BY-4.0": "name the source",
    "CC-BY-SA-4.0": "name the source, pass on alike",
    "CC-BY-NC-4.0": "name the source, no commerce",
    "CC-BY-NC-SA-4.0": "name the source, no commerce, pass on alike",
    "CC-BY-ND-4.0": "name the source, no changed versions",
    "CC-BY-NC-ND-4.0": "name the source, no commerce, no changed versions",
    "ODbL-1.0": "name the source, pass on databases alike",
    "ODC-By-1.0": "name the source",
    "PDDL-1.0": "no conditions",
    "CDLA-Permissive-2.0": "pass the licence on",
    "CDLA-Sharing-1.0": "pass on alike",
}
#: An agreement of one's own, as SPDX writes it.
_OWN = re.compile(r"LicenseRef-[A-Za-z0-9.\-]+")


def read_licence(licence: str) -> str:
    """Return a licence's id in its written form.

    Parameters
    ----------
    licence : str
        SPDX id, in any letter case; or ``LicenseRef-NAME`` for an agreement of one's own.

    Raises
    ------
    ArgumentError
        None was named, or it is not known.
    """
    word = str(licence).strip()
    by_case = {k.casefold(): k for k in KNOWN}
    if word.casefold() in by_case:
        return by_case[word.casefold()]
    if _OWN.fullmatch(word):
        return word
    choices = "; ".join(f"{k} ({v})" for k, v in KNOWN.items())
    what = f"found {word!r}" if word else "none was named, and without one nobody may use the copy"
    raise ArgumentError(
        f"licence: {what}. Name one that the athletes' consent covers: {choices}; or"
        f" LicenseRef-NAME for an agreement of your own.{suggestion(word, list(KNOWN))}"
    )


def licence_url(licence: str) -> str:
    """Return where the text of a licence stands, "" for an agreement of one's own."""
    return f"https://spdx.org/licenses/{licence}" if licence in KNOWN else ""
