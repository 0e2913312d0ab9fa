"""Sentences that say the same of several groups become one, and no number is lost."""

from __future__ import annotations

import re

import pytest

from cmjlab.report.blocks.short_names import short_names, shortened
from cmjlab.report.sections.alike import together
from cmjlab.results import Reason, Sentence
from cmjlab.words.catalog import families, gaps, read_words

WORDS = read_words()
HEIGHT = "jump_height_m"
NUMBER = re.compile(r"[+−]?\d+(?:\.\d+)?")


def _response(group: str, sd: float, code: str = "response_open") -> Sentence:
    values = {"sd": f"{sd:.1f} cm", "says": Reason(code)}
    return Sentence("individual.response", HEIGHT, group, values)


def test_what_all_share_is_said_once_and_readings_name_their_groups():
    three = [_response("a", 1.1), _response("b", 2.2), _response("c", 3.3, "response_up")]
    (text,) = together(WORDS, three)
    assert "a 1.1 cm; b 2.2 cm; c 3.3 cm" in text
    assert "differently: a and b." in text
    assert text.count("Jump height") == 1
    assert text.endswith("in the trained group: c.")


def test_other_keys_measures_and_single_sentences_stay_as_they_are():
    one = [_response("a", 1.1)]
    assert together(WORDS, one) == [WORDS.phrase(one[0])]
    other = Sentence("individual.response", "time_to_takeoff_s", "a", one[0].values)
    assert together(WORDS, [*one, other]) == [WORDS.phrase(s) for s in (*one, other)]
    unknown = [Sentence("change.not_comparable", HEIGHT, g, {"why": "w"}) for g in "ab"]
    assert together(WORDS, unknown) == [WORDS.phrase(s) for s in unknown]


def test_what_is_not_shared_is_never_said_of_all():
    shared = {"before": "base", "change": "1", "n": 3, "says": Reason("response_up"),
              "low_without_one": 0.01, "high_without_one": 0.02}  # fmt: skip
    two = [Sentence("change.mean", HEIGHT, g, {**shared, "after": g}) for g in ("x", "y")]
    assert len(together(WORDS, two)) == 2


def test_every_joined_text_belongs_to_a_sentence_and_asks_for_its_gaps_only():
    ours = {k.replace(".", "_"): s for f in families().values() for k, s in f.items()}
    parts = {k: v for k, v in WORDS.part("alike").items() if "." in k}
    assert len(parts) >= 15
    for name, text in parts.items():
        sentence = ours[name.split(".")[0]]
        allowed = gaps(sentence) | {"metric", "group", "said"}
        asked = {g for g in gaps(text) if not g.startswith("each")}
        assert asked <= allowed, name


@pytest.mark.parametrize("form", ["kit_report", "kit_full"])
def test_no_list_of_the_report_repeats_itself(request, form):
    """No two points of a list are the same once numbers and names of groups are taken out."""
    data = request.getfixturevalue(form)
    for section in data.sections:
        for block in section.blocks:
            if block.kind != "items" or section.key in ("references", "coach"):
                continue
            bare = [re.sub(r"\bjump\b|\busual\b", "G", NUMBER.sub("0", i)) for i in block.items]
            assert len(bare) == len(set(bare)), (section.key, bare)


def test_numbers_of_the_single_sentences_all_stand_in_the_joined_one(kit):
    from cmjlab.report.build.analyses import change_results

    result = change_results(kit, [HEIGHT])[0]["change_within"]
    means = [s for s in result.sentences if s.key == "change.mean"]
    assert len(means) == 2
    (text,) = together(WORDS, means)
    for sentence in means:
        numbers = set(NUMBER.findall(WORDS.phrase(sentence)))
        assert numbers <= set(NUMBER.findall(text))


def test_short_names_are_clear_and_explained_once(kit_report):
    metrics = [HEIGHT, "peak_propulsion_power_w_per_kg", "rsi_modified_m_per_s"]
    assert short_names(WORDS, metrics) == {
        HEIGHT: "Jump height",
        "peak_propulsion_power_w_per_kg": "Peak propulsion power",
    }
    both = [HEIGHT, "jump_height_flight_m", *metrics[1:], "peak_propulsion_power_w"]
    assert short_names(WORDS, both) == {}
    assert shortened(WORDS, metrics).label(HEIGHT) == "Jump height"
    own = WORDS.replaced({f"label.{HEIGHT}": "Sprunghöhe (Impuls)"})
    assert HEIGHT not in short_names(own, metrics)
    methods = " ".join(b.text for b in kit_report.section("methods").blocks if hasattr(b, "text"))
    assert "“Jump height” for jump height (take-off velocity)" in methods
    table = next(b for b in kit_report.section("groups").blocks if b.kind == "table")
    assert table.rows[0][0] == "Jump height (cm)"
