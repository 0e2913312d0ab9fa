"""Placements and the baseline of subgroups as a person reads them, in console and notebooks."""

from __future__ import annotations

import pandas as pd

from cmjlab.results import Result
from cmjlab.stats.common.tables import unit_of
from cmjlab.units import shown_unit
from cmjlab.words.catalog import Words, read_words
from cmjlab.words.fill import amount


def placement_table(result: Result, words: Words | None = None) -> pd.DataFrame:
    """Return one row per athlete: subgroup by the rules, how likely each is, and the call.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.subgroup_athletes`.
    words : Words, optional
        A lab's own words.

    Returns
    -------
    pandas.DataFrame
        Texts, with headings in words; the column of moves is left out when there are none.
    """
    say = words or read_words()
    people = result.points["placements"]
    columns = {"athlete": people["athlete"], "stratum": people["stratum"], "by_rules": people["by_rules"]}  # fmt: skip
    out = pd.DataFrame({say.say(f"placement_table.{k}"): v for k, v in columns.items()})
    for group in result.settings["subgroups"]:
        if f"p_{group}" in people:
            heading = say.say("placement_table.likely", group=group)
            out[heading] = [f"{100 * p:.0f} %" if p == p else "" for p in people[f"p_{group}"]]
    out[say.say("placement_table.call")] = [say.say(f"call.{c}") for c in people["call"]]
    out[say.say("placement_table.subgroup")] = people["subgroup"]
    moved = people["moved"] == "yes"
    if moved.any():
        yes = say.say("placement_table.yes")
        out[say.say("placement_table.moved")] = moved.map({True: yes, False: ""})
    return out


def balance_table(result: Result, words: Words | None = None) -> pd.DataFrame:
    """Return how the subgroups started before the block, in the units that a person reads.

    Parameters
    ----------
    result : Result
        From :func:`cmjlab.subgroup_athletes`.
    words : Words, optional
        A lab's own words.
    """
    say = words or read_words()
    decided = say.say("reason.decided_the_groups")
    rows = []
    for row in result.points["balance"].to_dict("records"):
        unit = unit_of(row["metric"])
        cells = {
            "measure": say.label(row["metric"]),
            "subgroup": row["subgroup"],
            "n": row["n"],
            "mean": amount(row["mean"], unit, with_unit=False, extra=1),
            "sd": amount(row["sd"], unit, with_unit=False, extra=1),
            "unit": shown_unit(unit),
            "difference": f"{row['difference_sd']:+.1f}".replace("-", "\u2212")
            if row["difference_sd"] == row["difference_sd"]
            else "",
            "remark": decided if row["decided"] else "",
        }
        rows.append({say.say(f"balance_table.{k}"): v for k, v in cells.items()})
    return pd.DataFrame(rows)
