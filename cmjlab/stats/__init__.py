"""Statistics on arrays and tables, never on signals: ``cj.stats``.

In the order of a block. An opened study has the main ones as methods, filled in by its plan.

Which measures to believe
    reliability: typical error, ICC, CV, agreement, with intervals
    jumps_needed: how many jumps a session needs
    published_icc: an ICC interval by the published formulas, as papers give it
    grras_table: what a report of reliability must say, filled in

Who belongs together
    add_force_distance: share of force and of distance in a jump, and their balance
    squad_places: where each athlete stands in the squad
    athlete_standing: the same against a reference
    metric_relation: does one measure go with another in this squad
    threshold_evidence: does a fixed cut separate anything beyond a line
    metric_repeatability: do athletes keep their place in a measure
    split_repeatability: would the same rules split them the same way again
    subgroup_athletes: placement by rules, with its certainty
    with_subgroups: a table with the subgroups as its groups
    selection_of: how the groups came about, for the comparison
    assign_randomly: groups by lot, balanced where asked

Before the block
    plan_study: how many athletes are needed
    what_squad_shows: what a squad of this size can show
    Scenario: what is assumed while planning

What changed
    change_within: mean change of each group
    change_between: difference of changes between groups
    change_between_corrected: the same with a baseline that carries noise
    change_mixed: two and more sessions: group × time
    change_jumps: one model on single jumps
    apply_plan: primary measure, change that matters, adjusted p values
    change_targets: did each emphasis do what it was for
    drift_expected: how far chosen groups fall back by themselves
    drift_from_outside: the same with a slope from elsewhere
    change_if_missing_differ: what if those who were missing had changed otherwise
    lineup: the real figure among figures of chance

Each athlete
    change_individual: a change against the noise of the test
    follow_athlete: one athlete over sessions
    height_and_mass: height, body mass and what both do to impulse
    load_profile: jumps with different loads
    follow: a squad week by week
    FollowSettings: limits and weeks of a season

What goes together
    association: correlations in level and in change
    link_measures: many pairs in one go
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
