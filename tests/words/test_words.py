"""The words: forms of gaps, phrases, a lab's own words."""

from __future__ import annotations

import pytest

from cmjlab.catalog.direction import reading
from cmjlab.errors import StudyError
from cmjlab.words.catalog import Words, families, gaps, read_words
from cmjlab.words.fill import amount, p_text
from cmjlab.words.phrases import Case, Note, Reason, Sentence

MINE = Words(
    {
        "word.and": "and",
        "word.or": "or",
        "word.more": "and {n} more",
        "word.rise": "rise",
        "word.subject": "{label} ({group})",
        "a.subject": "{subject} rose",
        "a.long": "{what:labels2}; {what:mid2}; {who:list}; {who:any}",
        "case.of": "{jumps} jumps",
        "a.change": "{metric}, {group}: {change:signed} ({low:bare_signed} to {high:signed1}), {level:percent}",
        "a.names": "{who:list}; {many:first2}; {m:labels}; {m:commas}",
        "a.mid": "of {x:mid} with {y:mid}",
        "a.why": "cannot: {why}",
        "a.word": "a {kind:word}, p = {p:p}, {x:+.2f}",
        "a.own": "{x:value}",
        "note.left_one": "{n} athlete left",
        "note.left_many": "{n} athletes left",
        "reason.few": "only {n} athletes",
    }
)


def test_numbers_are_shown_in_the_unit_of_the_metric():
    values = {"change": 0.0123, "low": -0.004, "high": 0.0201, "level": 0.95}
    sentence = Sentence("a.change", "jump_height_m", "heavy", values)
    assert MINE.phrase(sentence).endswith("heavy: +1.2 cm (−0.4 to +2.01 cm), 95 %")


def test_a_unit_among_the_values_replaces_the_metrics_unit():
    assert MINE.say("a.own", x=0.5, unit="s") == "500 ms"
    assert MINE.say("a.own", x=34.5) == "34.5"
    assert MINE.say("a.own", x=1234.5) == "1234" or MINE.say("a.own", x=1234.5) == "1235"


def test_lists_labels_and_nested_phrases():
    text = MINE.say(
        "a.names", who=["A", "B", "C"], many=["x", "y", "z"], m=["jump_height_m", "own_column"]
    )
    assert text.startswith(
        "A, B and C; x, y and 1 more; Jump height (take-off velocity) and Own column;"
    )
    assert MINE.say("a.mid", x="jump_height_m", y=["own", "rsi_modified_m_per_s"]) == (
        "of jump height (take-off velocity) with own and RSImod"
    )
    assert MINE.say("a.word", kind="rise", p=0.5, x=-0.001) == "a rise, p = 0.500, 0.00"
    assert MINE.say("a.why", why=Reason("few", {"n": 3})) == "cannot: only 3 athletes"
    assert MINE.say("a.word", kind="rise", p=0.00004, x=-1.5) == "a rise, p = < 0.001, −1.50"


def test_the_subject_is_the_metric_and_its_group():
    assert MINE.phrase(Sentence("a.subject", "own_column")) == "Own column rose"
    assert MINE.phrase(Sentence("a.subject", "own_column", "men")) == "Own column (men) rose"


def test_long_lists_are_cut_and_names_may_be_phrases():
    who = [Case("of", {"jumps": 2}), "B"]
    text = MINE.say("a.long", what=["ab_c", "de", "f"], who=who)
    assert text == "Ab c; De and 1 more; ab c; de and 1 more; 2 jumps and B; 2 jumps or B"


@pytest.mark.parametrize(("n", "text"), [(1, "1 athlete left"), (3, "3 athletes left")])
def test_one_and_many(n, text):
    assert MINE.phrase(Note("left", {"n": n})) == text


def test_a_hole_is_an_error_that_names_the_sentence():
    with pytest.raises(KeyError, match=r"reason\.few: no value for the gap 'n'"):
        MINE.phrase(Reason("few"))


def test_a_small_number_is_never_shown_as_zero():
    assert amount(0.00004, "m") == "0.004 cm"
    assert amount(0.0, "m", signed=True) == "0.0 cm"
    assert p_text(0.0) == "< 0.001"


def test_no_key_stands_in_two_files_and_every_gap_can_be_parsed():
    for name, family in families().items():
        for key, sentence in family.items():
            assert gaps(sentence) is not None, f"{name}: {key}"


def test_a_lab_may_replace_labels(tmp_path):
    own = tmp_path / "words.toml"
    own.write_text('[label]\njump_height_m = "Sprunghöhe"\n[word]\nand = "und"\n', encoding="utf-8")
    words = read_words(own)
    assert words.label("jump_height_m") == "Sprunghöhe"
    assert words.say("word.and") == "und"
    own.write_text('[label]\nno_such_metric = "x"\n', encoding="utf-8")
    with pytest.raises(StudyError, match="no sentence 'label.no_such_metric'"):
        read_words(own)


@pytest.mark.parametrize(
    ("metric", "low", "high", "wanted", "expected"),
    [
        ("jump_height_m", 0.01, 0.02, "", "better"),
        ("jump_height_m", -0.02, -0.01, "", "worse"),
        ("time_to_takeoff_s", -0.1, -0.01, "", "better"),
        ("time_to_takeoff_s", -0.1, -0.01, "more", "worse"),
        ("countermovement_depth_m", 0.01, 0.02, "", "higher"),
        ("countermovement_depth_m", -0.02, -0.01, "less", "better"),
        ("own", -0.02, -0.01, "", "lower"),
        ("jump_height_m", -0.01, 0.02, "", "open"),
        ("jump_height_m", float("nan"), 0.02, "", "open"),
    ],
)
def test_better_and_worse_come_from_catalog_or_target(metric, low, high, wanted, expected):
    assert reading(metric, low, high, wanted=wanted) == expected
