"""Values and spoilings that are hard on a programme, drawn from a numbered seed."""

from __future__ import annotations

import math
import random
from typing import Any

#: Texts that broke programmes before: other scripts, controls, paths, formulas, numbers in disguise.
TEXTS = (
    "", " ", "\x00", "\x1b[31mred\x1b[0m", "‮abc", "\ufeff", "\ud7ff", "é" * 300, "A" * 70_000,
    "../../up", "/..", "CON", "a/b", "a\\b", "a\nb", "a\rb", "a\tb", "=1+1", "@x", "-", "--", "+",
    "nan", "NaN", "inf", "-inf", "None", "null", "true", "1e999", "-1e999", "1e-999", "0x10", "1_000",
    "1,5", "1.5", "1;5", "1.234.567,8", "٣", "½", "12-13", "99999999999999999999", "2026-02-30",
    "2026-13-01", "0000-00-00", "31.12.9999", "{x}", "%s", "{0.__class__}", "<b>", '"', "'", '"""', "\\", "#",
)  # fmt: skip
NUMBERS = (
    0, 1, -1, 2, 3, 10**6, -(10**6), 10**20, 10**400, 0.0, -0.0, 0.5, 1e-300, 5e-324, 1e300, 1.8e308,
    math.nan, math.inf, -math.inf, 0.1, 1000, 2**31, 2**63, 2**64,
)  # fmt: skip


def odd_text(rng: random.Random) -> str:
    """Return a text that a table or a file name is not expected to hold."""
    return rng.choice(TEXTS)


def odd_number(rng: random.Random) -> float:
    """Return a number at or beyond an edge."""
    return rng.choice(NUMBERS)


def odd_value(rng: random.Random, depth: int = 0) -> Any:
    """Return a value of any kind: numbers, texts, lists of them, dictionaries, nothing."""
    kind = rng.randrange(8 if depth < 3 else 5)
    if kind < 2:
        return odd_number(rng)
    if kind < 4:
        return odd_text(rng)
    if kind == 4:
        return rng.choice((None, True, False, b"bytes", 1j, object, (), [], {}))
    if kind == 5:
        return [odd_value(rng, depth + 1) for _ in range(rng.randrange(4))]
    if kind == 6:
        return tuple(odd_value(rng, depth + 1) for _ in range(rng.randrange(4)))
    return {odd_text(rng): odd_value(rng, depth + 1) for _ in range(rng.randrange(3))}


def spoiled_bytes(data: bytes, rng: random.Random, spots: tuple[int, int] | None = None) -> bytes:
    """Return bytes with one to eight spoilings: bits, runs, cuts, copies, zeros.

    ``spots`` bounds where: a header and its parameters are hit more often than they are long.
    """
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        low, high = spots if spots and rng.random() < 0.7 else (0, len(out))
        high = min(high, len(out))
        if high <= low:
            break
        at = rng.randrange(low, high)
        length = rng.choice((1, 1, 2, 4, 16, 512))
        how = rng.randrange(7)
        if how == 0:
            out[at] ^= 1 << rng.randrange(8)
        elif how == 1:
            out[at : at + length] = rng.randbytes(len(out[at : at + length]))
        elif how == 2:
            del out[at : at + length]
        elif how == 3:
            out[at:at] = out[at : at + length]
        elif how == 4:
            out[at : at + length] = bytes(len(out[at : at + length]))
        elif how == 5:
            out[at : at + length] = b"\xff" * len(out[at : at + length])
        elif rng.random() < 0.3:
            del out[at:]
    return bytes(out)


def spoiled_table(text: str, rng: random.Random, delimiter: str = ",") -> str:
    """Return delimited text with cells, lines and columns spoiled, and most of it left whole."""
    lines = text.splitlines()
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        if not lines:
            break
        at = (
            min(int(rng.expovariate(1 / 6)), len(lines) - 1)
            if rng.random() < 0.5
            else rng.randrange(len(lines))
        )
        cells = lines[at].split(delimiter)
        where = rng.randrange(len(cells))
        how = rng.randrange(9)
        if how < 3:
            cells[where] = odd_text(rng)
        elif how == 3:
            cells[where] = str(odd_number(rng))
        elif how == 4:
            del cells[where]
        elif how == 5:
            cells.insert(where, odd_text(rng))
        elif how == 6:
            lines.insert(rng.randrange(len(lines)), lines[at])
            continue
        elif how == 7:
            del lines[at]
            continue
        else:
            cells = [delimiter.join(cells), odd_text(rng)]
        lines[at] = delimiter.join(cells)
    return rng.choice(("\n", "\n", "\n", "\r\n", "\r")).join(lines) + rng.choice(("\n", "\n", ""))
