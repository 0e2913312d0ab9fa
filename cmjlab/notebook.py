"""What the notebooks of cmjlab use beside the public core: ``cj.notebook``.

Opening and parameters
    notebook_parameters, chosen_study, open_study, tested_baselines, sessions_for_groups,
    change_that_matters, squad_noise, squad_table

Everything that a study allows, in one go
    change_results, study_subgroups, study_squad, gather, write_data, write_block_sheets

Numbers as a person reads them
    readable, readable_jump, tidy, prose, week_table, balance_table, second_opinion,
    side_by_side, must_agree

A block
    estimates_side_by_side, group_by_time

Screening and missing data
    to_solve_first, who_came_back, drop_lowest, missing_side_by_side

A season
    weeks_to_follow, main_metric, whom_to_show, alarms_by_week, limits_by_stable_weeks

Exercises
    check_exercise, hint, EXERCISES
"""

from cmjlab.report.blocks.readable import readable, readable_jump
from cmjlab.report.blocks.season_table import week_table
from cmjlab.report.blocks.subgroup_tables import balance_table
from cmjlab.report.build.analyses import change_results
from cmjlab.report.build.squad import study_squad
from cmjlab.report.build.subgroups import study_subgroups
from cmjlab.report.gather import gather
from cmjlab.report.notebooks.block import estimates_side_by_side, group_by_time
from cmjlab.report.notebooks.chosen import chosen_study
from cmjlab.report.notebooks.elsewhere import must_agree, side_by_side
from cmjlab.report.notebooks.exercises import EXERCISES, check_exercise, hint
from cmjlab.report.notebooks.missing import (
    drop_lowest,
    missing_side_by_side,
    to_solve_first,
    who_came_back,
)
from cmjlab.report.notebooks.parameters import notebook_parameters
from cmjlab.report.notebooks.prose import prose
from cmjlab.report.notebooks.season import (
    alarms_by_week,
    limits_by_stable_weeks,
    main_metric,
    weeks_to_follow,
    whom_to_show,
)
from cmjlab.report.notebooks.second_opinion import second_opinion
from cmjlab.report.notebooks.study import (
    change_that_matters,
    open_study,
    sessions_for_groups,
    squad_noise,
    squad_table,
    tested_baselines,
    tidy,
)
from cmjlab.report.sheets.block import write_block_sheets
from cmjlab.report.write import write_data

__all__ = [
    "EXERCISES",
    "alarms_by_week",
    "balance_table",
    "change_results",
    "change_that_matters",
    "check_exercise",
    "chosen_study",
    "drop_lowest",
    "estimates_side_by_side",
    "gather",
    "group_by_time",
    "hint",
    "limits_by_stable_weeks",
    "main_metric",
    "missing_side_by_side",
    "must_agree",
    "notebook_parameters",
    "open_study",
    "prose",
    "readable",
    "readable_jump",
    "second_opinion",
    "sessions_for_groups",
    "side_by_side",
    "squad_noise",
    "squad_table",
    "study_squad",
    "study_subgroups",
    "tested_baselines",
    "tidy",
    "to_solve_first",
    "week_table",
    "weeks_to_follow",
    "who_came_back",
    "whom_to_show",
    "write_block_sheets",
    "write_data",
]
