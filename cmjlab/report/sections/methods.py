"""How it was measured: written from the Method, the Plan and the study actually used."""

from __future__ import annotations

from cmjlab import __version__
from cmjlab.catalog import CHECKS
from cmjlab.plots.jump import jump_figure
from cmjlab.report.blocks.data import (
    Block,
    FigureBlock,
    Heading,
    Items,
    Paragraph,
    Section,
    TableBlock,
)
from cmjlab.report.blocks.short_names import short_names
from cmjlab.report.build.context import Context
from cmjlab.report.sections.study_text import dated_sessions
from cmjlab.settings import Settings
from cmjlab.units import show
from cmjlab.words.catalog import Words


def methods_section(context: Context) -> Section:
    """Return the methods."""
    say = context.words.say
    example = _example(context)
    text = method_text(context.words, context.study.method)
    blocks: list[Block] = [
        Paragraph(_recording_text(context)),
        Paragraph(text, see=tuple(figure.key for figure in example)),
        Paragraph(_quality_text(context)),
        Paragraph(_statistics_text(context)),
        *_short_names(context),
        *_plan(context),
        *_deviations(context),
        *_changed_settings(context),
        *example,
    ]
    return Section("methods", say("titles.methods"), tuple(blocks))


def _recording_text(context: Context) -> str:
    say, jumps = context.words.say, context.analyses.jumps
    rates = sorted(set(jumps["rate_hz"].dropna()))
    parts = [
        say(
            "methods.athletes",
            sessions=dated_sessions(context),
            wanted=context.study.plan.jumps_wanted,
        )
    ]
    if rates:
        parts.append(say("methods.rates", rates=[f"{r:g}" for r in rates]))
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
            gravity=m["gravity_m_per_s2"],
        )
    ]
    parts.append(say(f"methods.body_weight_{m['body_weight']}"))
    parts.append(
        say(
            f"methods.onset_{m['onset_rule']}",
            shift=show(m["onset_shift_s"], "s"),
            sd=m["onset_sd"],
            floor=m["onset_floor_percent"],
            newton=m["onset_newton"],
            percent=m["onset_percent"],
            search=say(f"methods.search_{m['onset_search']}"),
        )
    )
    parts.append(
        say(
            f"methods.takeoff_{m['takeoff_rule']}",
            newton=m["takeoff_newton"],
            sd=m["takeoff_sd"],
        )
    )
    parts.append(say(f"methods.placing_{m['event_placing']}"))
    parts.append(
        say(
            f"methods.filter_{m['filter']}",
            order=m["filter_order"],
            cutoff=m["filter_cutoff_hz"],
        )
    )
    parts.append(say(f"methods.integration_{m['integration_start']}", rule=m["integration"]))
    parts.append(say(f"methods.phases_{m['phase_model']}"))
    return " ".join(p for p in parts if p)


def _example(context: Context) -> list[FigureBlock]:
    """Return the figure of the accepted jump whose height is the median."""
    jumps = context.analyses.jumps
    used = jumps[jumps["accepted"].astype(bool) & jumps["jump_height_m"].notna()]
    if used.empty:
        return []
    row = used.sort_values(["jump_height_m", "file"]).iloc[len(used) // 2]
    picture = jump_figure(context.study.jump(str(row["file"]), int(row["jump"])))
    return [context.figure("example_jump", picture, context.words.say("methods.figure_jump"))]


def _quality_text(context: Context) -> str:
    say, plan = context.words.say, context.study.plan
    rules = len(set(context.analyses.checks["code"])) or len(CHECKS)
    loaded = [say("methods.load", load=plan.load_kg)] if plan.load_kg else []
    return " ".join(
        [
            *loaded,
            say("methods.quality", n_rules=rules, n_decisions=len(context.study.decisions)),
            say(f"methods.summary_{plan.summary}", best_n=plan.best_n),
        ]
    )


def formed_text(context: Context) -> str:
    """Return how the groups came about and what follows for the analysis."""
    plan = context.study.plan
    chosen = {"metrics": plan.selected_on, "session": plan.selected_in}
    return context.words.say(f"methods.formed_{plan.groups_formed}", **chosen)


def _statistics_text(context: Context) -> str:
    text = context.words.say(
        "methods.statistics",
        level=context.study.plan.level,
        primary=context.primary,
    )
    return f"{text} {formed_text(context)}" if context.analyses.result("change_between") else text


def _short_names(context: Context) -> list[Block]:
    """Return what the short names of the following pages stand for."""
    say = context.words.say
    named = short_names(context.words, context.analyses.metrics)
    each = [say("methods.short_name", metric=m, short=s) for m, s in named.items()]
    return [Paragraph(say("methods.short_names", names=each))] if each else []


def _plan(context: Context) -> list[Block]:
    """Return how the analysis stands to the plan that was frozen; nothing without one."""
    state = context.plan_state
    return [Paragraph(context.words.phrase(state.sentence))] if state is not None else []


def _deviations(context: Context) -> list[Block]:
    rows = context.study.sessions
    if "deviations" not in rows:
        return []
    noted = rows[rows["deviations"].notna() & (rows["deviations"].astype(str).str.strip() != "")]
    if noted.empty:
        return []
    say = context.words.say
    items = tuple(
        say("methods.deviation", session=r["session"], text=r["deviations"])
        for _, r in noted.iterrows()
    )
    return [Heading(say("methods.deviations_heading")), Items(items)]


def changed_settings(settings: Settings) -> list[tuple[str, str, str]]:
    """Return (name in words, value, meaning) of every setting that is not at its default."""
    ours = type(settings)().to_dict()
    meaning = {row["name"]: row["help"] for row in type(settings).describe()}
    return [
        (name.replace("_", " "), str(value), meaning[name])
        for name, value in settings.to_dict().items()
        if value != ours[name]
    ]


def _changed_settings(context: Context) -> list[Block]:
    say = context.words.say
    rows = changed_settings(context.study.method)
    if not rows:
        return [Paragraph(say("methods.settings_default", version=__version__))]
    columns = tuple(say(f"columns.{c}") for c in ("setting", "value", "meaning"))
    return [TableBlock(say("methods.settings_title"), columns, tuple(rows), (False, False, False))]
