"""The command plan: how many athletes, what this squad can show, and the frozen plan."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cmjlab.catalog import METRICS
from cmjlab.cli import names, say
from cmjlab.cli.opening import HERE, StudyPath, measured

if TYPE_CHECKING:
    import pandas as pd

    from cmjlab.results import Result
    from cmjlab.study.study import Study


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command(short_help="Athletes needed, and what this squad can show at all.")(plan)


def plan(
    study: StudyPath = HERE,
    metric: Annotated[str, typer.Option(help="A metric; default: the primary one.")] = "",
    matters: Annotated[
        float | None, typer.Option(help="Change that matters, in m, s, N …, e.g. 0.015.")
    ] = None,
    freeze: Annotated[
        bool,
        typer.Option("--freeze", help="Write the analysis plan down, once, with date and key."),
    ] = False,
) -> None:
    """Athletes needed for the change that matters, and how precisely this squad will know it."""
    with say.plain_errors():
        from cmjlab.study.frozen_plan import freeze as write_plan
        from cmjlab.study.frozen_plan import plan_state

        opened = measured(study)
        chosen = opened.plan.primary_metric
        if metric:
            chosen = names.find_metric(metric, METRICS, opened.plan.report_metrics)
        needed = _sizes(opened, chosen, matters)
        if freeze:
            say.line(f"plan: {write_plan(opened, sizes=dict(needed.settings))}")
        state = plan_state(opened)
        say.line(
            str(state.sentence) if state else "The plan is not frozen: --freeze writes it down."
        )
        say.line(say.CAUTION)


def _sizes(study: Study, metric: str, matters: float | None) -> Result:
    """Print what is needed and what this squad can show; return the first of the two."""
    import cmjlab as cj
    from cmjlab.errors import StudyError
    from cmjlab.report.notebooks.study import squad_noise
    from cmjlab.stats.planning.planning import what_squad_shows
    from cmjlab.units import show

    unit, label = METRICS[metric].unit, names.metric_label(metric)
    wanted = matters if matters is not None else study.plan.change_that_matters.get(metric)
    if wanted is None:
        raise StudyError(
            f"{label}: no change that matters is declared. Write it in study.toml under"
            f" [plan.change_that_matters], or give it here: --matters, in {unit or 'its unit'}."
        )
    noise, words = squad_noise(study, metric)
    say.line(words)
    needed = cj.plan_study(metric, reliability=noise, matters=wanted, level=study.plan.level)
    seen = f"{label}: athletes needed to see a true change of {show(wanted, unit)}"
    say.line(f"{seen} in {100 * float(needed.settings['power']):g} of 100 studies")
    _designs(needed.points["needed"], lambda p: _count(p["n"]))
    _ranges(needed)
    for sizes, titles in _pairs(study).items():
        say.line()
        size = " and ".join(str(n) for n in sizes)
        say.line(f"{'; '.join(titles)} ({size} athletes): a change will be known to about")
        shows = what_squad_shows(
            metric, reliability=noise, group_sizes=sizes, level=study.plan.level
        )
        _designs(shows.points["half_widths"], lambda p: _known_to(p, unit))
    say.line()
    for text in dict.fromkeys(n.text for n in needed.notes):
        say.line(f"note: {text}")
    say.line("note: two groups: that many in each group. TE: typical error, one day to the next.")
    return needed


def _ranges(needed: Result) -> None:
    """Print how far the sizes can be trusted, where that is known."""
    points = needed.points["needed"]
    if not points["assurance"].notna().any():
        return
    say.line()
    level = 100 * float(needed.settings["level"])
    say.line("The typical error is only estimated. For that power with 80 % probability it takes")
    say.line(f"(in brackets: from the {level:g} % limits of the typical error):")
    _designs(
        points,
        lambda p: f"{_count(p['n_assured'])} ({_count(p['n_low'])} to {_count(p['n_high'])})",
    )


def _count(n: float | None) -> str:
    return "–" if n is None or n != n else f"{n:.0f}"


def _known_to(point: dict[Hashable, Any], unit: str) -> str:
    """Return a half width, with the one that is kept with 80 % probability where it is known."""
    from cmjlab.units import show

    sure = point.get("assured_of_noise", float("nan"))
    kept = f" (80 % sure: ±{show(sure, unit)})" if sure == sure else ""
    return f"±{show(point['half_width'], unit)}{kept}"


def _designs(points: pd.DataFrame, words: Callable[[dict[Hashable, Any]], str]) -> None:
    """Print one row per design and spread of responses, one column per number of baselines."""
    import pandas as pd

    from cmjlab.stats.planning.sentences import design_phrase
    from cmjlab.words.catalog import read_words

    rows: dict[tuple[str, str], dict[str, str]] = {}
    for point in points.to_dict("records"):
        alone = point["design"] == "one_athlete"
        spread = "" if alone else f"{point['response_sd']:g} TE"
        if not alone and point["drift_sd"]:
            spread += f", drift {point['drift_sd']:g} TE"
        cells = rows.setdefault((str(design_phrase(point["design"])), spread), {})
        count = read_words().count("planning.baselines", int(point["baselines"]))
        cells[count] = words(point)
    say.table(
        pd.DataFrame([{"design": d, "responses spread": s, **c} for (d, s), c in rows.items()])
    )


def _pairs(study: Study) -> dict[tuple[int, ...], list[str]]:
    """Return sizes -> what they are: each group against the control, else each group alone."""
    names = study.athletes["group"].dropna()
    counts = {str(k): int(n) for k, n in names[names.astype(str) != ""].value_counts().items()}
    control = study.plan.control_group
    pairs: dict[tuple[int, ...], list[str]] = {}
    for group, n in counts.items():
        if control in counts and group != control:
            pairs.setdefault((n, counts[control]), []).append(f"{group} against {control}")
        elif control not in counts:
            pairs.setdefault((n,), []).append(group)
    everybody = len(study.athletes) or study.files["athlete"].nunique()
    return pairs or {(max(2, everybody),): ["all athletes"]}


def expected_precision(group_sizes: tuple[int, ...], baselines: int) -> str:
    """Return in one sentence what a squad of this size can show, before anything is measured.

    The typical error of jump height is not known yet: 1.2 cm is taken, in the middle of what is
    reported for means of three jumps between days (1.0 to 1.5 cm, from memory).
    """
    from cmjlab.stats.planning.planning import what_squad_shows
    from cmjlab.stats.planning.scenario import Scenario

    shown = what_squad_shows(
        "jump_height_m",
        reliability={"jump_height_m": (0.012, None)},
        group_sizes=group_sizes,
        scenario=Scenario(response_sd=(0.5,), baselines=(baselines,)),
    )
    return f"With a typical error of 1.2 cm (usual; yours comes from the baselines): {shown.sentences[0]}"
