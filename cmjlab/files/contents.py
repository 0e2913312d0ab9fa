"""The bytes of a file: opened, unpacked and recognised, never larger than the limit."""

from __future__ import annotations

import gzip
import hashlib
import io
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from cmjlab.checks import suggestion
from cmjlab.errors import ReadError
from cmjlab.files.bounds import refuse_inflated
from cmjlab.files.remedies import write_in_layout
from cmjlab.safe_open import open_file

#: First bytes -> what such a file is, for files that hold no force.
_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "an old binary office file; save it as .xlsx or as text"),
    (b"\x89HDF", "an HDF5 file; export it as text or C3D"),
    (b"MATLAB 5.0", "a binary MAT-file; export it as text or C3D"),
    (b"7z\xbc\xaf", "a 7z archive; unpack it first"),
    (b"Rar!", "a RAR archive; unpack it first"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"RIFF", "a sound or film file"),
    (b"ID3", "a sound file"),
    (b"SQLite format", "a database; export the recording as text"),
)
_MEGABYTE = 1_000_000
#: A packed file is unpacked up to this many times the limit, to tell how large it is.
_MOST_COUNTED = 10


@dataclass(frozen=True)
class Contents:
    """Bytes of one recording and how they came: name, hash of the file, kind.

    ``kind`` is "text", "c3d", "xlsx" or "parquet".
    """

    path: Path
    name: str
    data: bytes
    sha256: str
    kind: str


def load(path: Path, *, limit_mb: float) -> Contents:
    """Open a file, unpack gz or zip of one file, and recognise its kind.

    Parameters
    ----------
    path : Path
        The file.
    limit_mb : float
        Largest size, also after unpacking, in megabytes.

    Raises
    ------
    ReadError
        When it is missing, a folder, empty, too large, cut short or no kind that is read.
    """
    return contents_of(path, _bytes_of(path, limit_mb), limit_mb=limit_mb)


def contents_of(path: Path, data: bytes, *, limit_mb: float) -> Contents:
    """Return what :func:`load` does, of bytes that were read elsewhere; ``path`` names them.

    Raises
    ------
    ReadError
        When they are empty, too many, cut short or no kind that is read.
    """
    name = path.name
    if len(data) > limit_mb * _MEGABYTE:
        raise ReadError(too_large(name, len(data) / _MEGABYTE, limit_mb))
    if not data:
        raise ReadError(f"{name}: the file is empty (0 bytes). Export or copy it again.")
    sha256 = hashlib.sha256(data).hexdigest()
    data = _unpacked(name, data, limit_mb)
    return Contents(path, name, data, sha256, _kind(name, data))


def no_such_file(path: Path) -> str:
    """Return in one sentence that a file is not there, with the nearest name that is."""
    if not path.absolute().parent.is_dir():
        return f"{path}: there is no such file, nor its folder. Check the folder's name."
    try:
        names = [p.name for p in path.absolute().parent.iterdir()]
    except OSError:
        names = []
    return (
        f"{path}: there is no such file. Check the name and the folder."
        f"{suggestion(path.name, names)}"
    )


def _bytes_of(path: Path, limit_mb: float) -> bytes:
    name = path.name
    try:
        with open_file(path) as handle:
            size = handle.seek(0, io.SEEK_END)
            if size > limit_mb * _MEGABYTE:
                raise ReadError(too_large(name, size / _MEGABYTE, limit_mb))
            handle.seek(0)
            return handle.read()
    except FileNotFoundError:
        raise ReadError(no_such_file(path)) from None
    except IsADirectoryError:
        raise ReadError(f"{path}: this is a folder; name one file inside it.") from None
    except (OSError, ValueError) as error:
        if path.is_dir():
            raise ReadError(f"{path}: this is a folder; name one file inside it.") from None
        reason = getattr(error, "strerror", None) or str(error)
        raise ReadError(f"{path}: the file cannot be opened ({reason}).") from error


def too_large(name: str, size_mb: float, limit_mb: float) -> str:
    """Return the sentence for a file over the size limit."""
    enough = write_in_layout({"size_limit_mb": max(1, int(size_mb) + 1)})
    return (
        f"{name}: {size_mb:.0f} MB is more than the limit of {limit_mb:g} MB; a recording of one"
        f" jump has less than 1 MB. Cut the file into single recordings, or raise the limit: {enough}"
    )


def _unpacked(name: str, data: bytes, limit_mb: float) -> bytes:
    if data[:2] == b"\x1f\x8b":
        return _gunzip(name, data, limit_mb)
    if data[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        return _unzip(name, data, limit_mb)
    return data


def _gunzip(name: str, data: bytes, limit_mb: float) -> bytes:
    limit = int(limit_mb * _MEGABYTE)
    size = 0
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as handle:
            unpacked = handle.read(limit + 1)
            size = len(unpacked)
            while size > limit and (more := handle.read(_MEGABYTE)):
                size += len(more)
                if size > _MOST_COUNTED * limit:
                    raise ReadError(
                        f"{name}: unpacked it is more than {size / _MEGABYTE:.0f} MB; a recording"
                        " of one jump has less than 1 MB. Cut it into single recordings."
                    )
    except (EOFError, OSError, zlib.error) as error:
        raise ReadError(
            f"{name}: the compressed file is damaged or cut short ({error}). Copy it again."
        ) from error
    if size > limit:
        raise ReadError(too_large(name, size / _MEGABYTE, limit_mb))
    refuse_inflated(name, len(data), size)
    if not unpacked:
        raise ReadError(f"{name}: the compressed file holds nothing. Export it again.")
    return unpacked


def _unzip(name: str, data: bytes, limit_mb: float) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [m for m in archive.infolist() if not m.is_dir()]
            if any(m.filename == "xl/workbook.xml" for m in members):
                size = sum(m.file_size for m in members)
                if size > 4 * limit_mb * _MEGABYTE:
                    raise ReadError(too_large(name, size / _MEGABYTE, limit_mb))
                return data
            members = [m for m in members if not m.filename.startswith("__MACOSX/")]
            if len(members) != 1:
                found = ", ".join(m.filename for m in members[:4]) or "nothing"
                raise ReadError(
                    f"{name}: the archive holds {len(members)} files ({found}); one is needed."
                    " Unpack it and name one file."
                )
            if members[0].file_size > limit_mb * _MEGABYTE:
                raise ReadError(too_large(name, members[0].file_size / _MEGABYTE, limit_mb))
            refuse_inflated(name, len(data), members[0].file_size)
            with archive.open(members[0]) as handle:
                unpacked = handle.read(int(limit_mb * _MEGABYTE) + 1)
    except ReadError:
        raise
    except Exception as error:  # zipfile has no common base for damage, passwords and methods
        raise ReadError(
            f"{name}: the archive cannot be unpacked ({error}). Copy it again or unpack it by hand."
        ) from error
    if not unpacked:
        raise ReadError(f"{name}: the file inside the archive is empty.")
    return unpacked


def _kind(name: str, data: bytes) -> str:
    if data[:4] == b"PAR1":
        return "parquet"
    if data[:4] == b"PK\x03\x04":
        return "xlsx"
    if len(data) > 1 and data[1] == 0x50 and data[0] in range(1, 33) and not _looks_text(data):
        return "c3d"
    refuse_signature(name, data)
    if name.lower().endswith(".c3d"):
        raise ReadError(
            f"{name}: this is not a C3D file (its second byte is not 80, the mark of every C3D"
            " file). It was damaged or renamed; export or copy it again."
        )
    if name.lower().endswith((".parquet", ".xlsx")):
        ending = name.rsplit(".", 1)[1].lower()
        raise ReadError(f"{name}: this is not a .{ending} file inside; export or copy it again.")
    return "text"


def refuse_signature(name: str, data: bytes) -> None:
    """Stop when the first bytes are those of a picture, document, archive or program."""
    for signature, what in _SIGNATURES:
        if data.startswith(signature) and not (len(signature) < 4 and _looks_text(data)):
            raise ReadError(f"{name}: this is {what}, no table of numbers.")


def _looks_text(data: bytes) -> bool:
    head = data[:512]
    return not any(b < 9 or 14 <= b < 26 for b in head)
