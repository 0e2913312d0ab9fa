"""Figures from Recording, Jump and Result: ``cj.plots``.

A figure function returns the figure, with an ``alt_text`` for readers who do not see it. Figures of
one panel take ``ax``, an Axes of your own to draw in. ``result.plot()``, ``jump.plot()`` and
``study.plot()`` choose the figure for you. In the order of a block:

One jump
    recording_figure: force as it was read
    jump_figure: force, power, velocity, displacement, phases, flags
    load_profile_figure: jumps with different loads

Which measures to believe
    typical_error_figure: noise of every measure against the change that matters
    sessions_figure: each athlete over the baselines
    agreement_figure: difference against mean, with limits of agreement
    jumps_needed_figure: noise against number of jumps
    instrument_share_figure: part of the noise that instrument and method make
    pooling_figure: two measurements of the same jumps, and the conversion

The squad
    squad_overview: distributions in one session
    squad_scatter: scatter plots with noise and cuts
    relation_figure: one measure over another with a line
    threshold_figure: evidence for a cut
    force_distance_figure: share of force against share of distance
    repeat_figure: places in one session against those in the next
    placement_figure: certainty of each placement
    athlete_figure: one athlete in several measures

What changed
    paired_figure: each athlete from before to after, and each group's mean
    difference_figure: differences between groups
    along_baseline_figure: the difference along the baseline
    individual_figure: each athlete's change with its noise
    drift_figure: how far chosen groups fall back
    lineup_figure: the real figure among figures of chance
    specification_figure: one question answered in every defensible way
    season_figure: one athlete week by week
    curves_figure: whole curves of groups before and after, with bands
    athlete_curve_figure: one athlete's curve beside the noise of the test

What others found
    replication_figure: a published table beside this study

Planning and the flow of people
    planning_figure: what can be seen with how many athletes
    designs: designs that a plan compares
    flow_figure: who was tested and who counts
    FlowStep: one box of that figure

What figures share
    figures_of: figures that a result has
    metric_label: a measure in words
    value_text: a value with its unit
    Picture: a figure with its alt text
    save_all: figures as files for a paper
    MOST_METRICS: panels that an overview holds at most
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
