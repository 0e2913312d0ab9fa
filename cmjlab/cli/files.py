"""Commands on one file: inspect, measure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import names, say
from cmjlab.cli.method_set import method_with
from cmjlab.cli.spread import spread

if TYPE_CHECKING:
    from cmjlab.jump_types import Jump
    from cmjlab.method import Method
    from cmjlab.recording import Recording
    from cmjlab.study.folder.one_recording import Stated

#: Metrics printed unless all are asked for.
MAIN_METRICS = (
    "body_weight_n",
    "body_mass_kg",
    "jump_height_m",
    "jump_height_se_m",
    "jump_height_flight_m",
    "jump_height_total_m",
    "takeoff_velocity_m_per_s",
    "flight_time_s",
    "time_to_takeoff_s",
    "unweighting_duration_s",
    "braking_duration_s",
    "propulsion_duration_s",
    "countermovement_depth_m",
    "peak_downward_velocity_m_per_s",
    "mean_braking_force_n_per_kg",
    "force_at_zero_velocity_n_per_kg",
    "mean_propulsion_force_n_per_kg",
    "peak_propulsion_power_w_per_kg",
    "rsi_modified_m_per_s",
    "peak_landing_force_n",
)

File = Annotated[Path, typer.Argument(help="A force recording.", show_default=False)]
Rate = Annotated[
    float | None, typer.Option("--rate", help="Sampling rate in Hz, when the file has no time.")
]
LayoutFile = Annotated[
    Path | None,
    typer.Option(
        "--layout",
        help="TOML file with a [[layout]] block; default: study.toml of the folder or above; 'none': neither.",
        show_default=False,
    ),
]


@dataclass(frozen=True)
class OfStudy:
    """Options of ``measure`` that only a study takes."""

    results: Annotated[
        Path | None, typer.Option(help="Of a study: where results go; default: its results/.")
    ] = None
    cluster: Annotated[
        str | None,
        typer.Option(
            help="Of a study: the workers of this Dask scheduler measure, e.g. tcp://HOST:8786.",
            show_default=False,
        ),
    ] = None


_OF_NONE = OfStudy()


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command(short_help="What is understood of one file, and a layout to copy.")(inspect)
    app.command(short_help="Events, metrics, checks of one recording, or all of a study.")(
        spread(measure, "study")
    )


def inspect(file: File, rate: Rate = None, layout: LayoutFile = None) -> None:
    """Show what is understood of a file, and print a layout block for study.toml."""
    with say.plain_errors():
        from cmjlab.files.inspect import inspect_file
        from cmjlab.method import Method
        from cmjlab.study.folder.one_recording import stated_for

        stated = stated_for(file, layout)
        seen = inspect_file(file, layout=stated.layout, rate_hz=rate)
        if not seen.columns and seen.recording is None:
            raise say.fail(" ".join(seen.questions))
        for text in seen.lines():
            say.line(text)
        _say_origin(stated)
        method = stated.method or Method()
        first = _first_jump(seen.recording, method) if seen.recording is not None else ""
        say.line(first or "  first jump: not looked for before the questions are answered")
        say.line()
        say.line("For study.toml, or for a file that --layout names:")
        say.line(seen.layout_toml())
    if seen.questions or first.endswith("!"):
        raise typer.Exit(1)


def _say_origin(stated: Stated) -> None:
    """Name the file whose settings are used, if there is one."""
    if stated.origin:
        say.line(f"  settings used: {stated.origin}")


def _first_jump(recording: Recording, method: Method) -> str:
    """Return one line on the first jump of a recording; it ends with ! when there is none."""
    import cmjlab as cj
    from cmjlab.units import show

    try:
        parts = cj.split_jumps(recording, method)
        jump = cj.measure(parts[0], method)
    except cj.JumpError as error:
        return f"  first jump: {str(error).rstrip('.')}!"
    height, takeoff = jump.metrics["jump_height_m"], jump.events["takeoff"]
    if takeoff != takeoff:
        return f"  first jump: none found: {jump.flags[0].reason if jump.flags else 'no flight'}!"
    state = "accepted" if jump.accepted else "not accepted"
    text = f"  first jump of {len(parts)}: take-off at {takeoff:.3f} s, body mass "
    mass = show(jump.metrics["body_mass_kg"], "kg")
    return f"{text}{mass}, height {show(height, 'm')}, {state}"


def measure(
    path: Annotated[
        str,
        typer.Argument(
            help="A force recording, a study folder, or the URL of one.",
            metavar="path",
            show_default=False,
        ),
    ],
    rate: Rate = None,
    layout: LayoutFile = None,
    setting: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            help="A Method setting, e.g. --set onset_rule=percent; --set preset=NAME takes a published recipe instead of [method] of study.toml.",
        ),
    ] = None,
    figure: Annotated[
        Path | None, typer.Option(help="Where to save the figure (png, svg, pdf).")
    ] = None,
    details: Annotated[
        bool, typer.Option("--all", help="Print every metric, and checks that passed.")
    ] = False,
    study: OfStudy = _OF_NONE,
) -> None:
    """Print verdict, events, metrics and checks of a recording and save a figure; or measure a study."""
    with say.plain_errors():
        from cmjlab.study.remote import is_url

        file = Path(path)
        if is_url(path) or file.is_dir():
            from cmjlab.cli.folder import measure_study

            _only_for_files(
                {"--rate": rate, "--layout": layout, "--set": setting or None, "--figure": figure}
            )
            measure_study(path if is_url(path) else file, study.results, study.cluster)
            return
        _only_for_studies({"--cluster": study.cluster})
        from cmjlab.study.folder.one_recording import stated_for

        stated = stated_for(file, layout)
        method = method_with(stated.method, setting or [])
        _measure_file(file, rate, stated, method, figure=figure, details=details)


def _only_for_files(options: dict[str, object]) -> None:
    """Refuse options that a study does not take: its choices stand in study.toml."""
    from cmjlab.errors import ArgumentError

    if named := [name for name, value in options.items() if value is not None]:
        raise ArgumentError(
            f"{', '.join(named)}: for one recording only. In a study the choices are the same for"
            " all recordings: write them into study.toml, under [method] or [[layout]]."
        )


def _only_for_studies(options: dict[str, object]) -> None:
    """Refuse options that one recording does not take."""
    from cmjlab.errors import ArgumentError

    if named := [name for name, value in options.items() if value is not None]:
        raise ArgumentError(f"{', '.join(named)}: for a study folder; one recording is done here.")


def _measure_file(
    path: Path,
    rate: float | None,
    stated: Stated,
    method: Method,
    *,
    figure: Path | None,
    details: bool,
) -> None:
    import cmjlab as cj

    recording = cj.read_recording(path, layout=stated.layout, rate_hz=rate)
    try:
        jumps = [cj.measure(part, method) for part in cj.split_jumps(recording, method)]
    except cj.JumpError:
        _print_recording(path, recording, stated)  # its notes tell why there is no jump
        raise
    for jump in jumps:
        say.line(f"{path.name}{_which(jump, jumps)}: {_verdict(jump)}")
    say.line()
    _print_recording(path, recording, stated)
    for jump in jumps:
        if len(jumps) > 1:
            say.line(f"\njump {jump.recording.jump} of {len(jumps)}")
        _print_jump(jump, details)
    _save_figures(jumps, path, figure)
    say.line()
    say.line(say.CAUTION)


def _which(jump: Jump, jumps: list[Jump]) -> str:
    return f", jump {jump.recording.jump} of {len(jumps)}" if len(jumps) > 1 else ""


def _verdict(jump: Jump) -> str:
    """Return whether a jump is accepted, its height, and why it is not."""
    from cmjlab.units import show

    height, error = jump.metrics["jump_height_m"], jump.metrics["jump_height_se_m"]
    text = f"jump height {show(height, 'm')}" if height == height else "no jump height"
    if error == error:
        text += f" (standard error {show(error, 'm', extra_decimals=1)})"
    if jump.accepted:
        return f"accepted, {text}"
    reasons = [c.reason for c in jump.checks if c.status == "fail" and c.scope == "jump"]
    more = f" (and {len(reasons) - 1} more failed checks)" if len(reasons) > 1 else ""
    return f"not accepted, {text}: {reasons[0]}{more}"


def _print_recording(path: Path, recording: Recording, stated: Stated) -> None:
    """Print what was read, by which settings, and every note of the reader."""
    say.line(
        f"{path.name}: {recording.n_samples} samples at {recording.rate_hz:g} Hz"
        f" ({recording.duration_s:.2f} s), plates: {', '.join(recording.plates)}"
    )
    _say_origin(stated)
    for note in recording.notes:
        say.line(f"  note: {note.text}")


def _print_jump(jump: Jump, details: bool) -> None:
    import pandas as pd

    from cmjlab.catalog import EVENT_LABELS

    say.line("\nEvents")
    times = [f"{t:.4f}" if t == t else "–" for t in jump.events.values()]
    say.table(pd.DataFrame({"event": [EVENT_LABELS[e] for e in jump.events], "time_s": times}))
    _print_metrics(jump, list(jump.metrics) if details else list(MAIN_METRICS))
    if not details:
        say.line(f"--all prints all {len(jump.metrics)} metrics")
    _print_checks(jump, details)


def _print_metrics(jump: Jump, keys: list[str]) -> None:
    """Print metrics in the units that a person reads; those without a value with the reason."""
    import pandas as pd

    from cmjlab.catalog import METRICS
    from cmjlab.units import show, shown_unit

    say.line("\nMetrics")
    rows: list[tuple[str, str, str]] = []
    absent: dict[str, list[str]] = {}
    for key in keys:
        entry, value = METRICS[key], jump.metrics[key]
        if value == value:
            text = show(value, entry.unit, with_unit=False, extra_decimals=1)
            rows.append((entry.label, text, shown_unit(entry.unit)))
        else:
            reason = jump.voided.get(key, "not defined for this recording")
            absent.setdefault(reason, []).append(entry.label)
    say.table(pd.DataFrame(rows, columns=["metric", "value", "unit"]))
    for reason, labels in absent.items():
        say.line(f"not given ({reason}): {'; '.join(labels)}")


def _print_checks(jump: Jump, details: bool) -> None:
    import pandas as pd

    from cmjlab.catalog import STATUS_LABELS

    say.line("\nChecks")
    shown = [c for c in jump.checks if details or c.status != "pass"]
    rows = [
        (names.rule_label(c.code), STATUS_LABELS[c.status], c.value, c.limit, c.unit, c.reason)
        for c in shown
    ]
    if rows:
        say.table(pd.DataFrame(rows, columns=["check", "outcome", "value", "limit", "unit", "why"]))
    passed = len([c for c in jump.checks if c.status == "pass"])
    say.line(f"{passed} of {len(jump.checks)} checks passed")


def _save_figures(jumps: list[Jump], path: Path, figure: Path | None) -> None:
    from cmjlab.plots.jump import jump_figure
    from cmjlab.plots.style import save_figure

    target = figure or Path.cwd() / f"{path.name.split('.')[0]}_jump.png"
    for number, jump in enumerate(jumps, start=1):
        name = target if len(jumps) == 1 else target.with_stem(f"{target.stem}_{number}")
        save_figure(jump_figure(jump), name, dpi=200)
        say.line(f"figure: {name}")
