"""Method, Plan and other settings on the screen: what differs from the usual, the rest folded."""

from __future__ import annotations

import dataclasses
from typing import Any

from cmjlab.screen.card import Card, Fold, Grid
from cmjlab.settings import Settings
from cmjlab.words.catalog import read_words


def settings_card(settings: Settings) -> Card:
    """Return what is shown of settings."""
    words = read_words()
    say = words.say
    rows = _rows(settings)
    changed = [r for r in rows if r[1] != r[2]]
    head = (say("screen.setting"), say("screen.value"), say("screen.usual"), say("screen.meaning"))
    lines = words.count("screen.changed", len(changed)) if changed else say("screen.all_usual")
    return Card(
        type(settings).__name__,
        (lines,),
        Grid(head, tuple(changed)) if changed else None,
        (Fold(say("screen.all_settings", n=len(rows)), grid=Grid(head, tuple(rows))),),
    )


def _rows(settings: Settings, within: str = "") -> list[tuple[str, str, str, str]]:
    """Return name, value, usual value and meaning of every setting, those of inner settings too."""
    out = []
    described = {d["name"]: d for d in settings.describe()}
    for field in dataclasses.fields(settings):
        value, about = getattr(settings, field.name), described[field.name]
        if isinstance(value, Settings):
            out += _rows(value, f"{within}{field.name}.")
            continue
        usual = field.default
        if usual is dataclasses.MISSING:
            usual = field.default_factory() if callable(field.default_factory) else ""
        unit = about["unit"]
        name = f"{within}{field.name}" + (f" ({unit})" if unit else "")
        out.append((name, _shown(value), _shown(usual), about["help"]))
    return out


def _shown(value: Any) -> str:
    """Return a value of a setting as a person writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple | list):
        return ", ".join(map(_shown, value)) or "–"
    if isinstance(value, dict):
        return "; ".join(f"{k} = {_shown(v)}" for k, v in value.items()) or "–"
    return str(value) or "–"
