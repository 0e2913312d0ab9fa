"""Short and full form, names, decimal style, sentences to copy, very large and very small squads."""

from __future__ import annotations

import html
import re
import shutil
from types import SimpleNamespace

import pandas as pd
import pytest
from matplotlib.text import Text
from report_kit import NAMES, kit_study, text_of

import cmjlab as cj
from cmjlab.errors import ArgumentError, StudyError
from cmjlab.report.build.analyses import change_results
from cmjlab.report.build.choices import Choices
from cmjlab.report.gather import gather
from cmjlab.report.render.html import render_html
from cmjlab.report.sections.flow import flow_steps
from cmjlab.report.write import write_data
from cmjlab.words.catalog import read_words

HEIGHT = "jump_height_m"
MANY = (
    "jump_height_m", "time_to_takeoff_s", "rsi_modified_m_per_s", "countermovement_depth_m",
    "peak_propulsion_power_w_per_kg", "mean_propulsion_force_n_per_kg",
    "force_at_zero_velocity_n_per_kg", "braking_duration_s", "propulsion_duration_s",
    "takeoff_velocity_m_per_s", "peak_braking_force_n", "body_mass_kg",
)  # fmt: skip


@pytest.fixture(scope="module")
def named(kit):
    return gather(kit, choices=Choices(full=True, names=True))


def _page_text(data) -> str:
    text = re.sub(r"<style>.*?</style>|<[^>]*>", " ", render_html(data), flags=re.S)
    return html.unescape(text).replace("\u00a0", " ")


def _tables(data):
    return [b for s in data.sections for b in s.blocks if b.kind == "table"]


# ---- length --------------------------------------------------------------------------------


def test_short_form_says_where_the_rest_stands(kit_report, kit_full):
    short, full = kit_report, kit_full
    assert "glossary" not in [s.key for s in short.sections]
    assert not any("change of each athlete" in t.title for t in _tables(short))
    assert "in the full report" in text_of(short.section("individuals"))
    assert [s.key for s in short.sections if not s.on_paper] == ["sentences"]
    rows = next(t for t in _tables(full) if "change of each athlete" in t.title).rows
    assert len(rows) == 7  # eight athletes, one left before the last session
    assert all(s.on_paper for s in full.sections)


def test_sixty_athletes_and_twelve_measures_stay_readable(tmp_path, undrawn):
    study = kit_study(tmp_path, athletes=60, metrics=MANY)
    data = gather(study)
    for table in _tables(data):
        assert len(table.rows) <= 24, table.title
    table = next(t for t in _tables(data) if t.title.startswith("Repeatability"))
    assert len(table.rows) == 8
    assert "4 more measures" in table.note
    figure = data.figures["individual_primary"]
    labels = [t.get_text() for a in figure.axes for t in a.get_yticklabels()]
    assert len(labels) == len(set(labels)) == 59  # two columns; one athlete left
    assert figure.get_size_inches()[1] * 2.54 < 20
    full = gather(study, choices=Choices(full=True))
    table = next(t for t in _tables(full) if t.title.startswith("Repeatability"))
    assert len(table.rows) == 12


def test_three_athletes_get_a_report_that_says_what_cannot_be_told(tmp_path, undrawn):
    data = gather(kit_study(tmp_path, athletes=3))
    text = _page_text(data)
    assert "3 athletes" in text
    assert "not estimable" in text
    assert not re.search(r"\bnan\b|\bNone\b|\binf\b", text)


# ---- flow ----------------------------------------------------------------------------------


def test_flow_figure_adds_up(kit_report, kit):
    figure = next(b for b in kit_report.section("people").blocks if b.kind == "figure")
    flow = kit.flow()
    for row in flow["sessions"].to_dict("records"):
        want = f"{row['session']}: {row['tested']} athletes tested, {row['with_accepted_jumps']}"
        assert want in figure.alt
    assert "out here: 1 not tested, left: moved away" in figure.alt
    within = change_results(kit, [HEIGHT])[0]["change_within"].rows("mean_change")
    assert f"In the change from base2 to post: {int(within['n'].sum())} athletes" in figure.alt


def test_flow_of_many_sessions_draws_those_around_the_block():
    names = [f"s{i}" for i in range(1, 11)]
    flow = {
        "sessions": pd.DataFrame(
            {"session": names, "planned": 5, "tested": 5, "with_accepted_jumps": 4}
        ),
        "jumps": pd.DataFrame({"session": names, "recorded": 9, "accepted": 8}),
        "missing": pd.DataFrame(columns=["athlete", "group", "session", "status", "reason"]),
        "reasons": pd.DataFrame(
            [("s4", "rules", f"code_{i}", 1) for i in range(8)],
            columns=["session", "by", "reason", "n"],
        ),
    }
    frame = SimpleNamespace(
        words=read_words(),
        analyses=SimpleNamespace(flow=flow, result=lambda name: None),
        study=SimpleNamespace(
            before="s4",
            after="s8",
            groups=("a",),
            settings=SimpleNamespace(monitoring=()),
            athletes=pd.DataFrame({"group": ["a"] * 5}),
        ),
    )
    steps, complete = flow_steps(frame)
    assert not complete
    heads = [s.lines[0].split(":")[0] for s in steps]
    assert heads == [
        "Roster", "s1", "2 sessions in between, see the table", "s4",
        "3 sessions in between, see the table", "s8", "1 session in between, see the table",
        "s10",
    ]  # fmt: skip
    assert len(steps[3].aside) == 5
    assert steps[3].aside[-1] == "4 more reasons, see the tables"


# ---- names ---------------------------------------------------------------------------------


def test_names_appear_only_when_asked_and_literally(named, kit_report):
    plain = _page_text(kit_report)
    assert not any(name in plain for name in NAMES.values())
    assert "Athletes appear by id" in plain
    text = _page_text(named)
    for athlete, name in NAMES.items():
        assert f"{athlete} {name}" in text
    assert "<b>&" not in render_html(named)
    assert "This report shows names" in text
    assert "Athletes appear by id" not in text
    for stem, table in named.tables.items():
        assert not table.astype(str).isin(list(NAMES.values())).to_numpy().any(), stem


def _sentences(report) -> str:
    """Return every sentence of a report: paragraphs and lists, not tables."""
    blocks = [b for s in report.sections for b in s.blocks]
    texts = [b.text for b in blocks if b.kind == "paragraph"]
    texts += [t for b in blocks if b.kind == "items" for t in b.items]
    return " ".join([*texts, *report.tables["sentences"].astype(str).to_numpy().ravel()])


def test_names_stand_in_tables_of_people_and_not_in_sentences(named, kit):
    assert not any(name in _sentences(named) for name in NAMES.values())
    assert "names" not in named.tables
    everywhere = gather(kit, choices=Choices(full=True, names_everywhere=True))
    assert all(f"{a} {name}" in _sentences(everywhere) for a, name in NAMES.items())
    names = everywhere.tables["names"]
    assert dict(zip(names["athlete"], names["name"], strict=True)) == NAMES
    assert everywhere.with_names


def test_odd_groups_and_titles_appear_literally_everywhere(tmp_path):
    study = kit_study(tmp_path)
    odd, title = "Zoë <b>&'1.5' $x$ {{7*7}}", 'Bl<i>ock 1.5 "x" Ñ'
    roster = study.folder / "athletes.csv"
    table = pd.read_csv(roster, dtype=str)
    table["group"] = table["group"].replace({"jump": odd})
    table.to_csv(roster, index=False, encoding="utf-8")
    settings = study.folder / "study.toml"
    settings.write_text(
        settings.read_text("utf-8").replace('title = "Kit"', f"title = '{title}'"), "utf-8"
    )
    data = gather(cj.Study.open(study.folder), choices=Choices(full=True, decimal=","))
    text = _page_text(data)
    assert title in text
    assert text.count(odd) > 12
    assert "<b>&" not in render_html(data)
    for key in ("paired_primary", "individual_primary", "flow", "difference_primary"):
        drawn = " ".join(t.get_text() for t in data.figures[key].findobj(Text))
        assert "Zoë <b>&" in drawn, key
        assert "49" not in drawn


def test_wrong_names_are_refused(tmp_path):
    study = kit_study(tmp_path)
    (study.folder / "names.csv").write_text("athlete,name\nA00,one\nA00,two\n", encoding="utf-8")
    with pytest.raises(StudyError):
        gather(study, choices=Choices(names=True))


def test_word_document_of_the_short_form_leaves_out_what_is_for_the_screen(kit_report, tmp_path):
    docx = pytest.importorskip("docx")
    path = write_data(kit_report, tmp_path / "report.docx")
    texts = [p.text for p in docx.Document(str(path)).paragraphs]
    assert "Cautions" in texts
    assert "Sentences to copy" not in texts


# ---- a folder that cannot be written to ----------------------------------------------------


def test_a_folder_that_cannot_be_written_to_gets_its_report_elsewhere(tmp_path, undrawn):
    from typer.testing import CliRunner

    from cmjlab.cli.app import app

    study = kit_study(tmp_path)
    shutil.rmtree(study.results, ignore_errors=True)
    study.results.write_text("in the way")  # holds for administrators too
    before = sorted(p.name for p in study.folder.rglob("*"))
    refused = CliRunner().invoke(app, ["report", str(study.folder)])
    assert refused.exit_code == 2
    assert "--out my_report" in refused.stderr
    out = tmp_path / "elsewhere"
    done = CliRunner().invoke(app, ["report", str(study.folder), "--out", str(out)])
    assert done.exit_code == 0, done.stderr
    assert len(list(out.glob("report_kit_*.html"))) == 1
    assert len(list(out.glob("report_kit_*_files/sessions.csv"))) == 1
    assert sorted(p.name for p in study.folder.rglob("*")) == before


# ---- decimal style -------------------------------------------------------------------------


def test_decimal_comma_reaches_every_number_but_no_version_file_or_name(kit, named):
    point = named
    comma = gather(kit, choices=Choices(full=True, names=True, decimal=","))
    number = re.compile(r"(?<![\w.,/-])[+−-]?\d+\.\d+(?!\.?\w)")
    skipped = ("provenance", "references")
    for ours, theirs in zip(point.sections, comma.sections, strict=True):
        before, after = text_of(ours), text_of(theirs)
        if ours.key in skipped:
            assert before == after
            continue
        left = number.findall(after.replace("Łukasz 1.5", ""))
        assert left == [], ours.key
        assert after.count(",") - before.count(",") == len(
            number.findall(before.replace("Łukasz 1.5", ""))
        )
    assert "Łukasz 1.5" in text_of(comma.section("individuals"))
    assert comma.tables["change_within"].equals(point.tables["change_within"])
    axes = comma.figures["agreement_primary"].axes[0]
    labels = [t.get_text() for t in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    assert any("," in t for t in labels)
    assert not any("." in t for t in labels)


def test_another_sign_is_refused():
    with pytest.raises(ArgumentError, match="decimal"):
        Choices(decimal="·")


# ---- sentences -----------------------------------------------------------------------------


def _signed(metres: float) -> str:
    """Return centimetres with one decimal and a sign, nothing before a zero."""
    text = f"{100 * metres:+.1f}".replace("-", "−")
    return "0.0" if text[1:] == "0.0" else text


def test_every_result_has_three_sentences_from_the_same_numbers(kit, kit_report):
    table = kit_report.tables["sentences"]
    assert set(table["result"]) >= {"noise", "within", "between", "individual"}
    within = change_results(kit, [HEIGHT])[0]["change_within"].rows("mean_change")
    for _, row in within.iterrows():
        mine = table[
            (table["result"] == "within")
            & (table["metric"] == HEIGHT)
            & (table["of"] == row["group"])
        ].iloc[0]
        change = f"{_signed(row['estimate'])} cm"
        assert all(change in mine[r] for r in ("coach", "colleague", "thesis"))
        limits = [_signed(row[c]) for c in ("ci_low", "ci_high")]
        for register in ("colleague", "thesis"):
            assert f"interval {limits[0]} to {limits[1]} cm" in mine[register]
    alone = table[(table["result"] == "individual") & ~table["coach"].str.contains("best guess")]
    assert set(alone["of"]) == {"A01", "A03", "A05"}  # the control group is drawn to nothing
    assert not table["thesis"].str.contains(r"(?:^|[ (])–").any()  # no number is missing
    assert table[["coach", "colleague", "thesis"]].notna().all().all()
    assert not table["thesis"].str.contains("nan").any()


def test_sentences_stand_on_the_page_for_the_primary_measure(kit_report):
    facts = [b for b in kit_report.section("sentences").blocks if b.kind == "facts"]
    assert len(facts) == 1 + 2 + 1  # noise, two groups, one comparison
    for block in facts:
        assert [term for term, _ in block.pairs] == [
            "For coaches",
            "For colleagues",
            "For a thesis",
        ]
