"""Statistics of subgroups, association and random assignment."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_COMMON = "common practice, no source"
_MEMORY = " (from memory)"
_DERIVED = "derived; calibrated by our own simulations"

SUBGROUPS: tuple[Statistic, ...] = (
    Statistic("placement_probability", "Certainty of a placement", "", "share of the distribution of the athlete's own true values, given the measured ones, that the rules place in this subgroup", "how certain is it that this athlete belongs there", _DERIVED, has_interval=False),
    Statistic("true_value", "Likely value of an athlete", "metric", "μ + R (x - μ), variance σ²R(1 - R) + σ²(1 - R)²/n, t(n - 1)", "what is the athlete's own value, given the noise", "Robinson 1991, Stat Sci 6:15" + _MEMORY),
    Statistic("squad_percentile", "Percentile in this squad", "%", "100 (rank - 0.5) / n, ties share their mean rank", "where does the athlete stand in this squad", "Hazen 1914" + _MEMORY, has_interval=False),
    Statistic("percentile_likely", "Likely percentile in this squad", "%", "mean and quantiles of 100 (rank - 0.5) / n over draws of the squad's true values", "where does the athlete's own true value stand in this squad", _DERIVED),
    Statistic("reference_percentile", "Percentile in the reference", "%", "from the reference's quantiles, else from its mean and SD as a normal", "where does the athlete stand in the reference that was supplied", "the source named in the reference table", has_interval=False),
    Statistic("squad_mean", "Squad mean", "metric", "mean of the athletes of one stratum", "what is usual in this squad", _COMMON),
    Statistic("squad_sd", "Squad spread (SD)", "metric", "SD of the athletes of one stratum, chi-square limits", "how much do the athletes differ", _COMMON),
    Statistic("group_baseline", "Mean of a subgroup before the block", "metric", "mean of the subgroup, t interval", "how do the subgroups start", _COMMON),
    Statistic("baseline_difference_sd", "Standardised difference before the block", "", "(mean of a subgroup - mean of the rest) / pooled SD", "how unequal do the subgroups start", "Austin 2009, Stat Med 28:3083" + _MEMORY, has_interval=False),
    Statistic("outcome_slope", "Slope on the measure of the cut", "metric", "least squares slope, t interval", "how much more of the outcome comes with one unit more", _COMMON),
    Statistic("cut_difference", "Difference across the cut", "metric", "mean above - mean below, Welch t interval", "do those above the cut differ from those below", "Welch 1938" + _MEMORY),
    Statistic("cut_beyond_line", "What the cut adds to the line", "metric", "step at the cut in a regression that holds the line too", "does the cut say more than the measure itself", _COMMON),
    Statistic("split_icc", "Repeatability of the measure behind a split", "", "ICC(C,1) of two baselines, exact F interval", "do athletes keep their place from test to test", "McGraw & Wong 1996, Psychol Methods 1:30" + _MEMORY),
    Statistic("changed_group", "Athletes who would change subgroup", "", "count: rules applied to the second baseline against the first", "does the split repeat", _COMMON, has_interval=False),
    Statistic("changed_group_expected", "Changes of subgroup expected from noise alone", "", "mean and limits over draws of a second test with the same true values", "how many changes would noise alone make", _DERIVED),
    Statistic("correlation", "Correlation", "", "Pearson's r, limits by Fisher's z", "do athletes who are high in one stand high in the other", "Fisher 1921" + _MEMORY),
    Statistic("correlation_change", "Correlation of changes", "", "Pearson's r of (later - earlier), limits by Fisher's z", "do the two change together", "Fisher 1921" + _MEMORY),
    Statistic("correlation_with_change", "Correlation with a change", "", "Pearson's r of a value and (later - earlier)", "do athletes with more of the one change more in the other", "Fisher 1921" + _MEMORY),
    Statistic("correlation_oldham", "Change against the mean of both", "", "Pearson's r of (later - earlier) and (later + earlier)/2", "does change depend on level, without the coupling", "Oldham 1962, J Chronic Dis 15:969" + _MEMORY),
    Statistic("correlation_repeated", "Repeated-measures correlation", "", "r of values with athlete (and session) taken out", "do the two move together within athletes", "Bland & Altman 1995, BMJ 310:446; Bakdash & Marusich 2017, Front Psychol 8:456" + _MEMORY),
    Statistic("assignment_balance", "Largest standardised difference after assignment", "", "(mean of a group - mean of the rest) / pooled SD", "did the random assignment come out balanced", "Austin 2009, Stat Med 28:3083" + _MEMORY, has_interval=False),
)  # fmt: skip
