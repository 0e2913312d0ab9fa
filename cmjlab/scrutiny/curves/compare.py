"""Comparison of whole curves: where in the movement did force, power or velocity change."""

from __future__ import annotations

from cmjlab.results import Result
from cmjlab.scrutiny.curves.effects import athlete_effects, group_effects
from cmjlab.scrutiny.curves.notes import curve_notes
from cmjlab.scrutiny.curves.points import (
    athlete_curves,
    change_curves,
    left_out,
    mean_curves,
    noise_curve,
)
from cmjlab.scrutiny.curves.question import POINTS, ask
from cmjlab.scrutiny.curves.rows import add_athletes, add_effects
from cmjlab.scrutiny.curves.sentences import athlete_sentences, effect_sentences
from cmjlab.scrutiny.curves.squad import squad_curves
from cmjlab.scrutiny.opened import opened
from cmjlab.stats.common.rows import Rows
from cmjlab.study.study import Study


def compare_curves(
    study: Study,
    quantity: str = "force_per_kg",
    *,
    before: str | None = None,
    after: str | None = None,
    control: str | None = None,
    points: int = POINTS,
    level: float | None = None,
) -> Result:
    """Compare whole curves before and after a block: where in the movement something changed.

    Each phase (unweighting, braking, propulsion) of each jump is stretched to the same number of
    points by itself, so that "60 to 80 % of braking" is one place for everybody. An athlete's
    curve of a session is the mean over the accepted jumps with the load of the plan; what is
    analysed is each athlete's later less earlier curve.

    Parameters
    ----------
    study : Study
        An opened study.
    quantity : str
        "force_per_kg", "force" (N), "velocity" (m/s), "displacement" (m), "acceleration" (m/s²),
        "power" (W) or "power_per_kg".
    before, after : str, optional
        Sessions; default those of the plan. Where groups were selected on values, the plan's
        earlier session is one that did not decide them.
    control : str, optional
        Group that the others are compared with; default the plan's; without one all pairs.
    points : int
        Of each phase, both ends included; 51 are steps of 2 %.
    level : float, optional
        Level of the bands; default the plan's.

    Returns
    -------
    Result
        Rows: ``curve_largest_t`` of each group and comparison, with the p of "no change anywhere"
        (several comparisons: ``p_adjusted`` by Holm); ``curve_stretch`` for each run of points
        where the band leaves zero, its place in the column ``case``; ``curve_typical_error`` of each
        phase; ``curve_athlete_largest`` and ``curve_athlete_stretch`` of each athlete. Points:
        ``curves`` (means of groups and sessions), ``within`` and ``between`` (changes with their
        bands), ``athletes``, ``noise``, ``left_out``.

    Raises
    ------
    ArgumentError
        There is no such quantity.
    StatsError
        A session or control group is not there, or nobody has an accepted jump with all events in
        both sessions.

    Notes
    -----
    Bands hold for all points of a curve at once (the largest t, in size, of dealt signs or labels; Welch's t of
    two groups). The noise of an athlete comes from the baselines that were tested, with a band for
    the whole curve by a parametric bootstrap. How often both are wrong without any change stands in
    ``tests/calibration/curve_bands.csv``. How long a phase lasts is not in these curves.

    References
    ----------
    Westfall & Young 1993; Nichols & Holmes 2002, Hum Brain Mapp 15:1.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> curves = cj.compare_curves(study, "force_per_kg")
    >>> len(curves.rows("curve_largest_t")), curves.settings["before"]
    (5, 'base2')
    >>> sorted(curves.points)
    ['athletes', 'between', 'curves', 'left_out', 'noise', 'within']
    """
    study = opened(study)
    question = ask(study, quantity, (before, after), control, points, level)
    squad, noise = squad_curves(study, question)
    within, between = group_effects(squad, question)
    athletes = list(athlete_effects(squad, question, noise))
    rows = Rows(level=question.level)
    add_effects(rows, question, within, between)
    add_athletes(rows, question, noise, athletes)
    effects = [*within, *between]
    return Result(
        "curves",
        rows.frame(),
        points={
            "curves": mean_curves(squad, question),
            "within": change_curves(question, within),
            "between": change_curves(question, between),
            "athletes": athlete_curves(question, athletes, noise),
            "noise": noise_curve(question, noise),
            "left_out": left_out(squad),
        },
        settings={
            "quantity": question.quantity, "unit": question.unit, "before": question.before,
            "after": question.after, "control": question.control, "points": question.points,
            "level": question.level, "groups": [g for g in squad.groups if g],
            "phases": list(question.phases),
        },
        notes=curve_notes(question, squad, effects, noise),
        sentences=(
            *effect_sentences(question, [*between, *within]),
            *athlete_sentences(question, noise, athletes),
        ),
    )  # fmt: skip
