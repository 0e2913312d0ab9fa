"""The command plan: how many athletes, what this squad can show, and the frozen plan."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import say
from cmjlab.cli.folder import HERE, StudyFolder, measured

if TYPE_CHECKING:
    from cmjlab.results import Result
    from cmjlab.study.study import Study


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command(short_help="Athletes needed, and what this squad can show at all.")(plan)


def plan(
    study: StudyFolder = HERE,
    metric: Annotated[str, typer.Option(help="A metric; default: the primary one.")] = "",
    matters: Annotated[
        float | None, typer.Option(help="Change that matters, in the metric's unit.")
    ] = None,
    freeze: Annotated[
        bool,
        typer.Option("--freeze", help="Write the analysis plan down, once, with date and key."),
    ] = False,
) -> None:
    """Athletes needed for the change that matters, and how precisely this squad will know it."""
    with say.plain_errors():
        from cmjlab.study.frozen import freeze as write_plan
        from cmjlab.study.frozen import plan_state

        opened = measured(study)
        needed = _sizes(opened, metric or opened.plan.primary_metric, matters)
        if freeze:
            say.line(f"plan: {write_plan(opened, sizes=dict(needed.settings))}")
        state = plan_state(opened)
        say.line(state.sentence if state else "The plan is not frozen: --freeze writes it down.")
        say.line(say.CAUTION)


def _sizes(study: Study, metric: str, matters: float | None) -> Result:
    """Print what is needed and what this squad can show; return the first of the two."""
    import cmjlab as cj
    from cmjlab.errors import StudyError
    from cmjlab.stats.planning import what_squad_shows

    wanted = matters if matters is not None else study.plan.change_that_matters.get(metric)
    if wanted is None:
        raise StudyError(
            f"{metric}: no change that matters is declared. Write it in study.toml under"
            " [plan.change_that_matters], or give --matters in the metric's unit."
        )
    noise = cj.reliability(study.sessions_table(), [metric], level=study.plan.level)
    needed = cj.plan_study(metric, reliability=noise, matters=wanted, level=study.plan.level)
    _print(needed)
    for sizes, titles in _pairs(study).items():
        say.line(f"{'; '.join(titles)}:")
        _print(
            what_squad_shows(metric, reliability=noise, group_sizes=sizes, level=study.plan.level)
        )
    return needed


def _print(result: Result) -> None:
    for text in (*result.sentences, *(f"note: {n.text}" for n in result.notes)):
        say.line(text)
    say.line()


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
    return pairs or {(len(study.athletes),): ["all athletes"]}


def expected_precision(group_sizes: tuple[int, ...], baselines: int) -> str:
    """Return in one sentence what a squad of this size can show, before anything is measured.

    The typical error of jump height is not known yet: 1.2 cm is taken, in the middle of what is
    reported for means of three jumps between days (1.0 to 1.5 cm, from memory).
    """
    from cmjlab.stats.planning import Scenario, what_squad_shows

    shown = what_squad_shows(
        "jump_height_m",
        reliability={"jump_height_m": (0.012, 20.0)},
        group_sizes=group_sizes,
        scenario=Scenario(response_sd=(0.5,), baselines=(baselines,)),
    )
    return f"With a typical error of 1.2 cm (usual; yours comes from the baselines): {shown.sentences[0]}"
