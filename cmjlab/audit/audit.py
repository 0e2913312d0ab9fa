"""The question whether what was written follows from the raw files, and its one page."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path

from cmjlab import checks
from cmjlab.audit.again import computed_again, measured_again, worst
from cmjlab.audit.findings import Finding
from cmjlab.audit.origins import frozen_plan, origins, report_folder
from cmjlab.study.study import Study
from cmjlab.words.catalog import read_words


@dataclass(frozen=True)
class Audit:
    """What an audit found.

    Attributes
    ----------
    title : str
        Of the study.
    findings : tuple of Finding
        All that was looked at: follows, differs, unchecked.
    seed : int
        Of the draw of jumps that were measured again: the same seed draws the same.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.Audit("A study", (), 1).follows
    True
    """

    title: str
    findings: tuple[Finding, ...]
    seed: int

    @property
    def follows(self) -> bool:
        """Whether nothing was found that does not follow from the raw files."""
        return not worst(self.findings)

    def sentences(self, verdict: str) -> list[str]:
        """Return what was found, in words: of verdict "follows", "differs" or "unchecked"."""
        words = read_words()
        return [
            words.say(f"audit.{f.key}", **f.values) for f in self.findings if f.verdict == verdict
        ]

    def page(self) -> str:
        """Return one page of text: what does not follow, what does, what could not be checked."""
        words = read_words()
        parts = [words.say("audit.title", title=self.title), ""]
        whole = "all_follows" if not self.sentences("unchecked") else "some_follows"
        parts += [words.say(f"audit.{whole if self.follows else 'not_all_follows'}"), ""]
        for verdict in ("differs", "follows", "unchecked"):
            told = self.sentences(verdict)
            if told:
                parts += [words.say(f"audit.heading_{verdict}"), *(f"- {t}" for t in told), ""]
        return "\n".join([*parts, words.say("audit.bounds"), words.say("audit.caution")]) + "\n"


def audit_study(
    study: Study | str | Path,
    *,
    share: float = 0.1,
    seed: int | None = None,
    report: str | Path | None = None,
) -> Audit:
    """Check that the results of a study follow from its raw files.

    All recordings and tables are read again and held against the checksums of the report, and so is
    its page; a random part of the jumps is measured again and compared bit for bit with the kept
    results; every table of the report is computed again and compared cell by cell; the frozen plan
    is compared with what the study declares today.

    Parameters
    ----------
    study : Study, str or Path
        An opened study, or its folder.
    share : float
        Part of the jumps that is measured again, 0 to 1; at least five jumps.
    seed : int, optional
        Of the draw; without it a new one is drawn, so that nobody knows before which jumps it hits.
    report : str or Path, optional
        The page whose report is looked at; default: the newest one in the results.

    Returns
    -------
    Audit

    Raises
    ------
    StudyError
        The study cannot be opened.
    ArgumentError
        ``share`` or ``seed`` is not usable, or beside ``report`` lies no folder of its tables.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as results:
    ...     study = cj.Study.open(cj.demo_study(mini=True), results=results)
    ...     _ = cj.write_report(study, draft=True)
    ...     cj.audit_study(study, seed=1).follows
    True
    """
    share = checks.number("share", share, low=0.0, high=1.0)
    drawn = secrets.randbelow(10**6) if seed is None else seed
    drawn = int(checks.number("seed", drawn, low=0, high=2**53))
    opened = study if isinstance(study, Study) else Study.open(study)
    folder = report_folder(Path(opened.results), None if report is None else Path(report))
    opened.reread()
    jumps = opened.measure()
    found = [
        *origins(opened, folder, jumps),
        *measured_again(opened, jumps, share=share, seed=drawn),
        *computed_again(opened, folder),
        *frozen_plan(opened),
    ]
    return Audit(opened.title, tuple(found), drawn)
