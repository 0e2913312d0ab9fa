"""Test day: who has jumped, who must jump again and why; to be run again and again."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd

from cmjlab.checks import suggestion
from cmjlab.errors import StudyError
from cmjlab.study.flow import excluded_jumps, files_not_used, missing_athletes
from cmjlab.study.own_noise import OwnNoise, heights, own_noise
from cmjlab.study.study import Study
from cmjlab.units import show
from cmjlab.words.catalog import Words, read_words

#: Names in a sentence before the others are counted.
_MOST = 40


@dataclass(frozen=True)
class TestDay:
    """The state of one session.

    Attributes
    ----------
    session : str
    athletes : pandas.DataFrame
        athlete, group, valid, wanted, recorded, status ("done", "again", "waiting",
        "not_available"), reason (why jumps do not count, in words; never why somebody is not
        available), height_m, best_m, last_m, change_m, noise_m, beyond (see
        :func:`cmjlab.study.own_noise.heights`).
    jumps : pandas.DataFrame
        The jumps of the session: athlete, trial, file, jump, accepted, jump_height_m, reason.
    other_files : tuple of str
        Files that could not be placed or read, with the reason.
    noise : OwnNoise
        The noise of one test, from the baselines before today, or why it is not known.
    """

    session: str
    athletes: pd.DataFrame
    jumps: pd.DataFrame
    other_files: tuple[str, ...]
    noise: OwnNoise

    @property
    def repeats(self) -> pd.DataFrame:
        """Athletes who must jump again, with how many jumps are missing and why."""
        part = self.athletes[self.athletes["status"] == "again"]
        return part.assign(missing=part["wanted"] - part["valid"])[
            ["athlete", "group", "missing", "reason"]
        ].reset_index(drop=True)

    def named(self, names: dict[str, str]) -> TestDay:
        """Return the same with names in place of the ids that have one."""
        frames = {
            f: getattr(self, f).assign(athlete=getattr(self, f)["athlete"].replace(names))
            for f in ("athletes", "jumps")
        }
        return replace(self, **frames)

    def lines(self, words: Words | None = None) -> list[str]:
        """Return the state in plain sentences, the most urgent last."""
        words = words or read_words()
        status = self.athletes["status"]
        done, total = int((status == "done").sum()), int((status != "not_available").sum())
        out = [words.say("today.state", session=self.session, done=done, total=total)]
        out.append(self._noise_line(words))
        for code, key in (("not_available", "not_available"), ("waiting", "waiting")):
            who = list(self.athletes.loc[status == code, "athlete"])
            if who:
                out.append(words.say(f"today.{key}", who=_first(who, words)))
        out += [words.say("today.file", what=text) for text in self.other_files]
        for row in self.repeats.itertuples(index=False):
            n = int(row.missing)
            out.append(words.count("today.again", n, who=row.athlete, why=row.reason or ""))
        return out

    def _noise_line(self, words: Words) -> str:
        noise = self.noise
        if noise.reason is not None:
            return words.say("today.no_noise", why=words.phrase(noise.reason))
        return words.say(
            "today.noise", te=show(noise.typical_error, "m", extra_decimals=1),
            sessions=list(noise.sessions), n=noise.athletes, chance=f"{20 * (1 - noise.level):.0f}",
        )  # fmt: skip


def _first(who: list[str], words: Words) -> str:
    more = f" {words.say('word.more', n=len(who) - _MOST)}" if len(who) > _MOST else ""
    return ", ".join(who[:_MOST]) + more


def today(study: Study, session: str, *, noise: OwnNoise | None = None) -> TestDay:
    """Return the state of a session from the recordings that are there now.

    Parameters
    ----------
    study : Study
        Freshly opened study; only new files are measured.
    session : str
        Session of today.
    noise : OwnNoise, optional
        When it is at hand from an earlier look.

    Raises
    ------
    StudyError
        When the study has no such session.
    """
    _need_session(study, session)
    table = study.jumps_at_load()
    part = table[table["session"] == session]
    excluded = excluded_jumps(part, study.checks, study.decided.verdicts)
    why = {(r.file, int(r.jump)): str(r.reason) for r in excluded.itertuples(index=False)}
    jumps = part[["athlete", "trial", "file", "jump", "accepted", "jump_height_m"]].copy()
    jumps["reason"] = [
        why.get((f, int(j)), "") for f, j in zip(part["file"], part["jump"], strict=True)
    ]
    if noise is None:
        noise = own_noise(table, _baselines(study, session), study.plan)
    words = read_words(study.folder / "words.toml")
    people = _athletes(study, jumps, _excused(study, part, session), words)
    return TestDay(
        session,
        people.join(heights(table, session, noise, study.plan), on="athlete"),
        jumps.reset_index(drop=True),
        tuple(f"{r.file}: {r.reason}" for r in files_not_used(study.problems).itertuples()),
        noise,
    )


def _need_session(study: Study, session: str) -> None:
    order = study.settings.session_order
    if session not in order:
        raise StudyError(
            f"session: there is no {session!r}; sessions are {', '.join(order)}."
            f"{suggestion(session, order)}"
        )


def _baselines(study: Study, session: str) -> list[str]:
    """Return the baseline sessions before a session, in order."""
    roles = dict(zip(study.sessions["session"], study.sessions["role"], strict=True))
    order = study.settings.session_order
    return [s for s in order[: order.index(session)] if roles[s] == "baseline"]


def _athletes(study: Study, jumps: pd.DataFrame, excused: set[str], words: Words) -> pd.DataFrame:
    """Return the state of each athlete from the jumps of this session."""
    wanted = int(study.plan.jumps_wanted)
    roster = study.athletes
    groups = dict(zip(roster["athlete"], roster["group"], strict=True))
    own: dict[str, list[tuple[bool, str]]] = {a: [] for a in groups}
    for row in jumps.itertuples(index=False):
        said = words.say("today.tried", trial=row.trial or row.jump, reason=row.reason)
        own.setdefault(row.athlete, []).append((bool(row.accepted), said))
    rows = []
    for athlete, tried in own.items():
        valid = sum(good for good, _ in tried)
        reason = " ".join(said for good, said in tried if not good)
        if valid >= wanted:
            status = "done"
        elif tried:
            status = "again"
        else:
            status = "not_available" if athlete in excused else "waiting"
        rows.append((athlete, groups.get(athlete), valid, wanted, len(tried), status, reason))
    columns = ["athlete", "group", "valid", "wanted", "recorded", "status", "reason"]
    return pd.DataFrame(rows, columns=columns)


def _excused(study: Study, part: pd.DataFrame, session: str) -> set[str]:
    """Return athletes whom participation.csv excuses from this session.

    Why they are not available concerns their health: it stays in that table.
    """
    missing = missing_athletes(study, part)
    return set(missing.loc[(missing["session"] == session) & (missing["status"] != ""), "athlete"])


def run_sheet(study: Study, session: str) -> pd.DataFrame:
    """Return the sheet to print before a session: one row per athlete, with room to write.

    The last body mass on the plate helps to notice a file saved under the wrong athlete.

    Raises
    ------
    StudyError
        When the study has no such session.
    """
    _need_session(study, session)
    wanted = int(study.plan.jumps_wanted)
    people = study.athletes[["athlete", "group"]].reset_index(drop=True)
    out = pd.DataFrame({"place": range(1, len(people) + 1), **people})
    table = study.measure()
    order = study.settings.session_order
    earlier = order[: order.index(session)]
    seen = table[table["session"].isin(earlier) & table["accepted"].astype(bool)]
    last = seen.groupby("athlete", sort=False)["body_mass_kg"].last()
    out["last_body_mass_kg"] = out["athlete"].map(last).astype("float64").round(1)
    out["jumps_wanted"] = wanted
    for number in range(1, wanted + 1):
        out[f"jump_{number}"] = ""
    out["remark"] = ""
    return out
