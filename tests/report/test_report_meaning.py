"""What a number means is decided once: better and worse, who leads, which group, whose sentence."""

from __future__ import annotations

import pandas as pd
import pytest
from report_kit import kit_study, text_of

import cmjlab as cj
from cmjlab.report.build.analyses import analyse
from cmjlab.report.gather import gather

pytestmark = pytest.mark.usefixtures("undrawn")

HEIGHT, TIME, DEPTH = "jump_height_m", "time_to_takeoff_s", "countermovement_depth_m"
FORCE, FORCE_PER_KG = "peak_propulsion_force_n", "peak_propulsion_force_n_per_kg"


def _with_plan(study: cj.Study, **changes) -> cj.Study:
    return study.with_choices(plan=study.plan.replace(**changes))


def _move(monkeypatch, metric: str, by: dict[str, float]) -> None:
    """Let the athletes' last session differ by so much from what was measured."""
    measured = cj.Study.sessions_table

    def moved(self: cj.Study, how: str | None = None) -> pd.DataFrame:
        table = measured(self, how)
        last = table["session"].astype(str) == "post"
        for athlete, amount in by.items():
            table.loc[last & (table["athlete"] == athlete), metric] += amount
        return table

    monkeypatch.setattr(cj.Study, "sessions_table", moved)


def _advice(data) -> str:
    items = [b for b in data.section("coach").blocks if b.kind == "items" and b.ordered]
    return " ".join(items[0].items)


# ---- which estimate leads -------------------------------------------------------------------


def test_no_group_is_favoured_when_neither_estimate_leads(kit):
    assert kit.plan.groups_formed == "other"
    data = gather(kit)
    between = analyse(kit).results["change_between"]
    assert between.leading == ""
    page = text_of(data.section("coach"))
    assert "in favour of" not in page
    assert "Do not choose" not in page
    assert "neither stands for the effect of the training" in page
    table = next(b for b in data.section("coach").blocks if b.kind == "table" and "Diff" in b.title)
    for statistic, cell in zip(
        ("adjusted_difference", "change_difference"), table.rows[0][1:], strict=True
    ):
        estimate = 100 * between.rows(statistic, metric=HEIGHT)["estimate"].iloc[0]
        assert cell.startswith(f"{estimate:+.1f}".replace("-", "−"))
    said = data.tables["sentences"].query("result == 'between' and metric == @HEIGHT")
    assert said["coach"].str.contains("neither number stands").all()


@pytest.mark.parametrize(
    ("formed", "leads"),
    [
        ({"groups_formed": "random"}, "adjusted_difference"),
        (
            {"groups_formed": "selected", "selected_on": (HEIGHT,), "selected_in": "base1",
             "before": "base2", "after": "post"},
            "change_difference",
        ),
    ],
    ids=["random", "selected"],
)  # fmt: skip
def test_advice_rests_on_the_estimate_that_leads(kit, monkeypatch, formed, leads):
    _move(monkeypatch, HEIGHT, {"A00": 0.20, "A02": 0.21, "A04": 0.22, "A06": 0.23})
    planned = _with_plan(kit, **formed)
    between = analyse(planned).results["change_between"]
    assert between.leading == leads
    shown = 100 * between.rows(leads, metric=HEIGHT)["estimate"].iloc[0]
    advice = _advice(gather(planned))
    said = "jump against usual: the difference in jump height (take-off velocity) is"
    assert f"{said} {shown:+.1f} (" in advice
    assert "only differences in favour of jump" in advice


# ---- better and worse -----------------------------------------------------------------------


def test_where_lower_is_better_the_slower_are_talked_with(kit, monkeypatch):
    _move(monkeypatch, TIME, {"A00": -0.4, "A01": 0.4})
    data = gather(_with_plan(kit, primary_metric=TIME))
    _, talk = _advice(data).split("Talk with")
    names = talk.split(".")[0]
    assert "A01" in names
    assert "A00" not in names
    assert "on the side of higher values, which is the worse direction" in talk
    said = data.tables["sentences"].query("result == 'individual' and metric == @TIME")
    said = said.set_index("of")["coach"]
    assert "In words: improved" in said["A00"]
    assert "In words: got worse" in said["A01"]


def test_where_lower_is_better_the_quicker_group_is_favoured(kit, monkeypatch):
    _move(monkeypatch, TIME, {"A00": -0.40, "A02": -0.41, "A04": -0.42, "A06": -0.43})
    planned = _with_plan(kit, primary_metric=TIME, groups_formed="random")
    assert "only differences in favour of jump" in _advice(gather(planned))


def test_no_advice_where_neither_direction_is_better(kit, monkeypatch):
    _move(monkeypatch, DEPTH, {"A00": -0.2, "A02": -0.2, "A04": -0.21, "A06": -0.2, "A01": 0.2})
    advice = _advice(gather(_with_plan(kit, primary_metric=DEPTH, groups_formed="random")))
    for word in ("Talk with", "favour", "Do not choose"):
        assert word not in advice


# ---- whose sentence, which group ------------------------------------------------------------


def test_sentences_are_those_of_the_measure_not_of_one_that_begins_alike(kit):
    planned = _with_plan(
        kit, primary_metric=FORCE, report_metrics=(FORCE, FORCE_PER_KG), groups_formed="random"
    )
    data = gather(planned)
    lines = [
        item
        for key in ("reliability", "groups")
        for block in data.section(key).blocks
        if block.kind == "items" and not block.small
        for item in block.items
    ]
    assert lines
    assert all(line.startswith("Peak propulsion force") for line in lines)
    assert not any("per body mass" in line for line in lines)


def test_a_group_with_a_dash_in_its_name_stays_whole(tmp_path):
    study = kit_study(tmp_path)
    path = study.folder / "athletes.csv"
    text = path.read_text(encoding="utf-8").replace(",jump", ",strength - heavy")
    path.write_text(text, encoding="utf-8")
    settings = study.folder / "study.toml"
    formed = settings.read_text(encoding="utf-8").replace(
        "[plan]", '[plan]\ngroups_formed = "random"'
    )
    settings.write_text(formed, encoding="utf-8")
    data = gather(cj.Study.open(study.folder))
    assert "strength - heavy against usual" in _advice(data)
    between = data.tables["sentences"].query("result == 'between'")
    assert set(between["of"]) == {"strength - heavy minus usual"}
    page = text_of(data.section("groups"))
    assert "strength - heavy − usual" in page
