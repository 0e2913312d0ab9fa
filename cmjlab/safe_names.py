"""Names of files that are made from words of a study: no word can lead out of a folder.

Ids of athletes and titles are typed by people or come from another laboratory. Before such a word
becomes part of a file name it passes :func:`safe_name`; where the file goes is checked by
:func:`file_in`. Device names and forbidden signs are those of the naming rules for Windows files
(Microsoft Learn, "Naming Files, Paths, and Namespaces"; from memory).
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from cmjlab.errors import StudyError

#: Longest safe name in bytes of UTF-8; file systems take 255, of which endings need some.
LONGEST = 120
_DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"}
_DEVICES |= {f"{kind}{n}" for kind in ("com", "lpt") for n in (*"0123456789", "¹", "²", "³")}
_FORBIDDEN = '<>:"/\\|?*'
_DIGITS = 8


def safe_name(word: object) -> str:
    """Return a word as part of a file name; a word that is harmless already stays as it is.

    Separators, control signs, signs that change the direction of writing and those that Windows
    forbids become "_"; so do dots and blanks at the ends, and a hyphen or tilde in front. A word
    that had to be changed, shortened, or that names a device of Windows gets a part of its checksum
    behind it, so two different words never make one name.

    Parameters
    ----------
    word : object
        An id, a title, a key; taken as text.

    Returns
    -------
    str
        Never empty, at most :data:`LONGEST` bytes.

    Examples
    --------
    >>> safe_name("A07")
    'A07'
    >>> safe_name("A07/../../x")
    'A07_.._.._x-59222595'
    """
    text = unicodedata.normalize("NFC", str(word))
    plain = "".join("_" if _unsafe(sign) else sign for sign in text)
    plain = re.sub(r"^[\s.~\-]+|[\s.]+$", lambda m: "_" * len(m.group()), plain)
    plain = _cut(plain, LONGEST) or "_"
    if plain == text and plain and not _is_device(plain):
        return plain
    return marked(plain, text)


def marked(plain: str, word: str) -> str:
    """Return a name with a part of the checksum of the word that it stands for."""
    tail = hashlib.sha256(word.encode("utf-8", errors="surrogatepass")).hexdigest()[:_DIGITS]
    kept = _cut(plain, LONGEST - _DIGITS - 1)
    return f"{kept.partition('.')[0] + '_' if _is_device(kept) else kept}-{tail}"


def safe_names(words: Iterable[str]) -> dict[str, str]:
    """Return a safe name for each word; names that differ only in letter case are told apart.

    Many drives take "a1" and "A1" for one file, and accents in two Unicode forms, too.
    """
    names = {word: safe_name(word) for word in words}
    often = Counter(map(_likeness, names.values()))
    return {w: marked(n, w) if often[_likeness(n)] > 1 else n for w, n in names.items()}


def file_in(folder: Path, name: str) -> Path:
    """Return the path of a file that is written into a folder, and nowhere else.

    Parameters
    ----------
    folder : Path
        Where the file goes; it need not exist.
    name : str
        Its name, one part of a path. Words of a study in it have passed :func:`safe_name`.

    Raises
    ------
    StudyError
        The name is not one plain name, or a link of that name leads out of the folder.
    """
    if not name or name in (".", "..") or any(_unsafe(sign) for sign in name):
        raise StudyError(f"{folder}: {name!r} is no name for a file. Use letters and digits.")
    path = folder / name
    if path.is_symlink() and not inside(path, folder):
        raise StudyError(
            f"{path}: a link stands there that leads to {os.path.realpath(path)}, outside the"
            " folder; nothing is written. Remove the link."
        )
    return path


def inside(path: Path, folder: Path) -> bool:
    """Return whether a path, with all links followed, lies in a folder."""
    real, home = os.path.realpath(path), os.path.realpath(folder)
    return real == home or real.startswith(home.rstrip(os.sep) + os.sep)


def _is_device(name: str) -> bool:
    return name.partition(".")[0].rstrip().casefold() in _DEVICES


def _unsafe(sign: str) -> bool:
    return sign in _FORBIDDEN or unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Zl", "Zp")


def _cut(text: str, most: int) -> str:
    return text.encode("utf-8", errors="replace")[:most].decode("utf-8", errors="ignore")


def _likeness(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()
