"""Was it the same test each time? Conditions, dates, sampling rates and body mass compared.

A change of surface, footwear, wording or sampling rate between sessions looks like a change
of the athletes, so each difference is told before anybody reads a result.
"""

from __future__ import annotations

import pandas as pd

from cmjlab.checks import listed
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.settings import StudySettings

#: What should be the same in every session: column of sessions.csv -> how serious.
CONDITIONS = {
    "surface": "warn",
    "footwear": "warn",
    "wording": "warn",
    "warm_up": "warn",
    "tester": "note",
}
#: A change of median plate mass between sessions above this is probably another person's file.
MASS_CHANGE_PERCENT = 8.0


def check_conditions(notes: pd.DataFrame, problems: Problems) -> None:
    """Tell where sessions were not held alike (sessions.csv)."""
    if notes.empty:
        return
    for column, severity in CONDITIONS.items():
        said = notes.loc[notes[column].notna(), ["session", column]]
        words = said[column].str.casefold().str.split().str.join(" ")
        if words.nunique() > 1:
            each = "; ".join(f"{s}: {w}" for s, w in said.itertuples(index=False))
            problems.add(
                severity, "conditions_differ", where=("sessions", "", column), found=each,
                expected="the same in every session",
                remedy="A change of conditions is mixed with the change of athletes: say so, or"
                " test again alike.",
            )  # fmt: skip


def check_file_dates(files: pd.DataFrame, settings: StudySettings, problems: Problems) -> None:
    """Tell athletes whose recordings are dated against the order of the sessions."""
    order = {s: i for i, s in enumerate(settings.session_order)}
    dated = files[files["date"].fillna("") != ""]
    for athlete, own in dated.groupby("athlete", sort=False):
        spans = own.groupby("session")["date"].agg(["min", "max"])
        spans = spans.loc[sorted(spans.index, key=order.__getitem__)]
        names = list(spans.index)
        for first, second in zip(names, names[1:], strict=False):
            if spans.loc[second, "min"] < spans.loc[first, "max"]:
                problems.add(
                    "warn", "dates_out_of_order", where=("recordings", "", "date"),
                    found=f"{athlete}: {second} on {spans.loc[second, 'min']}, {first} on"
                    f" {spans.loc[first, 'max']}",
                    expected=f"{first} before {second}",
                    remedy="Correct the date or the session of the files.",
                )  # fmt: skip


def check_rates(jumps: pd.DataFrame, problems: Problems) -> None:
    """Tell when files were sampled at different rates: detection of events depends on it."""
    rates = jumps.loc[jumps["rate_hz"].notna(), ["rate_hz", "session", "file"]]
    rates = rates.assign(rate=rates["rate_hz"].round(0))
    if rates["rate"].nunique() < 2:
        return
    each = []
    for rate, part in rates.groupby("rate"):
        where = listed(dict.fromkeys(part["session"].astype(str)))
        each.append(f"{rate:g} Hz: {part['file'].nunique()} file(s) in {where}")
    problems.add(
        "warn", "rates_differ", where=("recordings", "", "rate_hz"), found="; ".join(each),
        expected="one sampling rate in a study",
        remedy="Compare only sessions of one rate, or correct the layout of the files.",
    )  # fmt: skip


def check_mass_between_sessions(jumps: pd.DataFrame, problems: Problems) -> None:
    """Tell sessions in which an athlete weighs very differently from the other sessions."""
    used = jumps[jumps["accepted"].astype(bool)]
    keys = ["athlete", "session"]
    masses = used.groupby(keys, observed=True, sort=False)["body_mass_kg"].median().dropna()
    for athlete, own in masses.groupby(level="athlete", sort=False):
        if len(own) < 2:
            continue
        for (_, session), mass in own.items():
            others = own.drop((athlete, session)).median()
            off = 100.0 * (mass / others - 1.0)
            alike = (100.0 * (own.drop((athlete, session)) / others - 1.0)).abs().max()
            if abs(off) > MASS_CHANGE_PERCENT and (len(own) == 2 or alike <= MASS_CHANGE_PERCENT):
                problems.add(
                    "warn", "mass_between_sessions", where=(f"{athlete}, {session}", "", ""),
                    found=f"{mass:.1f} kg, {off:+.0f} % against the athlete's other sessions",
                    expected=f"about {others:.1f} kg",
                    remedy="Another person's files, a wrong force unit, or a true change of mass.",
                )  # fmt: skip
                if len(own) == 2:
                    break
