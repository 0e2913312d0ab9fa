"""How it was measured: written from the Method, the Plan and the study actually used."""

from __future__ import annotations

from cmjlab import __version__
from cmjlab.catalog import CHECKS
from cmjlab.plots.jump import jump_figure
from cmjlab.plots.labels import metric_label
from cmjlab.report.blocks import format as tell
from cmjlab.report.blocks.data import Block, Heading, Items, Paragraph, Section, TableBlock
from cmjlab.report.build.context import Frame
from cmjlab.report.sections.coach import session_words
from cmjlab.settings import Settings
from cmjlab.units import show
from cmjlab.words.catalog import Words


def methods_section(frame: Frame) -> Section:
    """Return the methods."""
    say = frame.words.say
    blocks: list[Block] = [
        Paragraph(_recording_text(frame)),
        Paragraph(method_text(frame.words, frame.study.method)),
        *_example(frame),
        Paragraph(_quality_text(frame)),
        Paragraph(_statistics_text(frame)),
        *_plan(frame),
        *_deviations(frame),
        *_changed_settings(frame),
    ]
    return Section("methods", say("titles.methods"), tuple(blocks))


def _recording_text(frame: Frame) -> str:
    say, jumps = frame.words.say, frame.found.jumps
    rates = sorted(set(jumps["rate_hz"].dropna()))
    parts = [
        say(
            "methods.athletes",
            sessions=session_words(frame),
            wanted=frame.study.plan.jumps_wanted,
        )
    ]
    if rates:
        parts.append(say("methods.rates", rates=", ".join(f"{r:g} Hz" for r in rates)))
    parts.append(say("methods.plates"))
    return " ".join(parts)


def method_text(words: Words, method: Settings) -> str:
    """Return the paragraph that a paper's methods section needs about the signal choices."""
    say = words.say
    m = method.to_dict()
    parts = [
        say(
            "methods.weighing",
            duration=show(m["weighing_duration_s"], "s"),
            window=say(f"methods.weighing_{m['weighing']}"),
            gravity=f"{m['gravity_m_per_s2']:g}",
        )
    ]
    parts.append(say(f"methods.body_weight_{m['body_weight']}"))
    parts.append(
        say(
            f"methods.onset_{m['onset_rule']}",
            shift=show(m["onset_shift_s"], "s"),
            sd=f"{m['onset_sd']:g}",
            floor=f"{m['onset_floor_percent']:g}",
            newton=f"{m['onset_newton']:g}",
            percent=f"{m['onset_percent']:g}",
            search=say(f"methods.search_{m['onset_search']}"),
        )
    )
    parts.append(
        say(
            f"methods.takeoff_{m['takeoff_rule']}",
            newton=f"{m['takeoff_newton']:g}",
            sd=f"{m['takeoff_sd']:g}",
        )
    )
    parts.append(say(f"methods.placing_{m['event_placing']}"))
    parts.append(
        say(
            f"methods.filter_{m['filter']}",
            order=m["filter_order"],
            cutoff=f"{m['filter_cutoff_hz']:g}",
        )
    )
    parts.append(say(f"methods.integration_{m['integration_start']}", rule=m["integration"]))
    parts.append(say(f"methods.phases_{m['phase_model']}"))
    return " ".join(p for p in parts if p)


def _example(frame: Frame) -> list[Block]:
    """Return the figure of the accepted jump whose height is the median."""
    jumps = frame.found.jumps
    used = jumps[jumps["accepted"].astype(bool) & jumps["jump_height_m"].notna()]
    if used.empty:
        return []
    row = used.sort_values(["jump_height_m", "file"]).iloc[len(used) // 2]
    picture = jump_figure(frame.study.jump(str(row["file"]), int(row["jump"])))
    return [frame.figure("example_jump", picture, frame.words.say("methods.figure_jump"))]


def _quality_text(frame: Frame) -> str:
    say, plan = frame.words.say, frame.study.plan
    rules = len(set(frame.found.checks["code"])) or len(CHECKS)
    return " ".join(
        [
            say("methods.quality", n_rules=rules, n_decisions=len(frame.study.decisions)),
            say(f"methods.summary_{plan.summary}", best_n=plan.best_n),
        ]
    )


def formed_text(frame: Frame) -> str:
    """Return how the groups came about and what follows for the analysis."""
    plan = frame.study.plan
    metrics = ", ".join(metric_label(m) for m in plan.selected_on)
    return frame.words.say(
        f"methods.formed_{plan.groups_formed}", metrics=metrics, session=plan.selected_in
    )


def _statistics_text(frame: Frame) -> str:
    text = frame.words.say(
        "methods.statistics",
        percent=tell.percent(frame.study.plan.level),
        primary=metric_label(frame.primary),
    )
    return f"{text} {formed_text(frame)}" if frame.found.result("change_between") else text


def _plan(frame: Frame) -> list[Block]:
    """Return how the analysis stands to the plan that was frozen; nothing without one."""
    state = frame.plan_state
    return [Paragraph(state.sentence)] if state is not None else []


def _deviations(frame: Frame) -> list[Block]:
    rows = frame.study.sessions
    if "deviations" not in rows:
        return []
    noted = rows[rows["deviations"].notna() & (rows["deviations"].astype(str).str.strip() != "")]
    if noted.empty:
        return []
    say = frame.words.say
    items = tuple(
        say("methods.deviation", session=r["session"], text=r["deviations"])
        for _, r in noted.iterrows()
    )
    return [Heading(say("methods.deviations_heading")), Items(items)]


def changed_settings(settings: Settings) -> list[tuple[str, str, str]]:
    """Return (name, value, meaning) of every setting that is not at its default."""
    ours = type(settings)().to_dict()
    meaning = {row["name"]: row["help"] for row in type(settings).describe()}
    return [
        (name, str(value), meaning[name])
        for name, value in settings.to_dict().items()
        if value != ours[name]
    ]


def _changed_settings(frame: Frame) -> list[Block]:
    say = frame.words.say
    rows = changed_settings(frame.study.method)
    if not rows:
        return [Paragraph(say("methods.settings_default", version=__version__))]
    columns = tuple(say(f"columns.{c}") for c in ("setting", "value", "meaning"))
    return [TableBlock(say("methods.settings_title"), columns, tuple(rows), (False, False, False))]
