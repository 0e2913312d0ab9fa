"""references.bib and methods.txt are written from what the report holds."""

from __future__ import annotations

import re

import pytest

from cmjlab.errors import StudyError
from cmjlab.report.blocks.data import Heading, Items, Paragraph, ReportData, Section, TableBlock
from cmjlab.report.render.citations import bibliography, methods_text

CITED = (
    "Bland & Altman 1986, 1999 (logs)",
    "McGraw & Wong 1996, with its correction",
    "Bretz & Westfall 2008, Biom J 50:346",
    "Harry et al. 2022, J Strength Cond Res 36:1459: raw preferred",
    "McMahon et al. 2018, Strength Cond J 40(4):96",
    "McMahon et al. 2017",
    "df: Bell & McCaffrey 2002",
    "Pérez-Castilla et al. 2021, Meas Phys Educ Exerc Sci 25:227",
    "100 % of {x} & $y_1$ in Owen 2014",
    "standard gravity, CGPM 1901",
    "a rule of the house",
)


def _data(cited=CITED) -> ReportData:
    methods = (
        Paragraph("Jumps were recorded."),
        Heading("Deviations"),
        Items(("post: rain",)),
        TableBlock("Settings", ("Setting", "Value"), (("filter", "none"),), (False, False)),
    )
    sections = (Section("methods", "M", methods), Section("references", "R", (Items(cited),)))
    return ReportData("Zoë's block", "2026-11-02", "", "0.1", sections)


def _entries(text: str) -> dict[str, str]:
    found = re.findall(r"^@(\w+)\{([^,]+),\n(.*?)^\}$", text, flags=re.M | re.S)
    return {key: f"@{kind}\n{body}" for kind, key, body in found}


def test_known_papers_come_in_full():
    entries = _entries(bibliography(_data()))
    mcgraw = entries["McGraw1996"]
    assert mcgraw.startswith("@article")
    assert "Forming inferences about some intraclass correlation coefficients" in mcgraw
    assert "pages = {30--46}" in mcgraw
    assert "memory" not in mcgraw
    assert {"Bland1986", "Bland1999", "Bell2002", "McMahon2018", "Owen2014"} <= set(entries)
    assert "Hothorn, Torsten" in entries["Hothorn2008"]  # cited by its later authors


def test_other_papers_come_as_they_are_cited_and_nothing_is_left_out():
    entries = _entries(bibliography(_data()))
    harry = entries["Harry2022"]
    assert harry.startswith("@article")
    assert "author = {Harry and others}" in harry
    assert "journal = {J Strength Cond Res}" in harry
    assert "volume = {36}" in harry
    assert "pages = {1459}" in harry
    assert "cited as: Harry et al. 2022" in harry
    assert "author = {Pérez-Castilla and others}" in entries["PerezCastilla2021"]
    assert entries["McMahon2017"].startswith("@misc")  # not the paper of 2018
    assert any("a rule of the house" in e for e in entries.values())
    assert entries["cmjlab"].startswith("@software")
    assert len(entries) == len(CITED) + 1 + 1  # one more Bland & Altman, and the program


def test_braces_are_balanced_and_commands_escaped():
    text = bibliography(_data(("100 % of {x} & $y_1$ #2",)))
    body = text.split("\n\n", 1)[1]
    plain = body.replace(r"\{", "").replace(r"\}", "")
    assert plain.count("{") == plain.count("}")
    assert r"100 \% of \{x\} \& \$y\_1\$ \#2" in body


def test_same_key_twice_stays_two_entries():
    entries = _entries(bibliography(_data(("Smith 2001, about a", "Smith 2001, about b"))))
    assert {"Smith2001", "Smith2001x"} <= set(entries)


def test_methods_are_plain_text_in_the_report_s_own_words():
    text = methods_text(_data())
    assert text.splitlines()[0] == "Zoë's block: methods"
    for part in ("Jumps were recorded.", "Deviations:", "- post: rain", "- filter | none"):
        assert part in text.splitlines()
    assert "Computed with cmjlab 0.1; report of 2026-11-02." in text
    assert f"- {CITED[1]}" in text
    assert "<" not in text


def test_a_report_without_references_is_refused():
    data = ReportData("T", "2026-11-02", "", "0", ())
    with pytest.raises(StudyError, match="no section 'references'"):
        bibliography(data)
