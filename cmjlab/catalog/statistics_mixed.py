"""Statistics of several sessions and groups: mixed ANOVA and mixed models."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_ANOVA = "Maxwell, Delaney & Kelley, Designing Experiments (from memory); checked against R afex"

MIXED: tuple[Statistic, ...] = (
    Statistic(
        "group_by_time",
        "group × time interaction",
        "",
        "F = (MS of group × session) / (MS of its error)",
        "Did the groups change differently over the sessions, in whatever way?",
        _ANOVA,
        has_interval=False,
    ),
    Statistic(
        "time_main_effect",
        "session, averaged over groups",
        "",
        "F = (MS of session) / (MS of its error); Type III unless the method says Type II",
        "Did the mean over the groups change between sessions?",
        _ANOVA,
        has_interval=False,
    ),
    Statistic(
        "group_main_effect",
        "group, averaged over sessions",
        "",
        "F = (MS of group) / (MS of athletes within groups)",
        "Do the groups differ in their level over all sessions? Not a question about training.",
        _ANOVA,
        has_interval=False,
    ),
    Statistic(
        "sphericity_epsilon",
        "sphericity epsilon",
        "",
        "Greenhouse–Geisser: tr(E)²/(p·tr(E²)); Huynh–Feldt with Lecoutre's correction",
        "By how much are the degrees of freedom reduced because sessions correlate unequally?",
        "Greenhouse & Geisser 1959; Huynh & Feldt 1976; Lecoutre 1991 (from memory)",
        has_interval=False,
    ),
    Statistic(
        "mauchly_w",
        "Mauchly's W",
        "",
        "det(E)/(tr(E)/p)^p of the pooled within-group error of orthonormal session contrasts",
        "Are the variances of all session differences equal? Shown, never used to choose a test.",
        "Mauchly 1940; second-order p value as in R's mauchly.test",
        has_interval=False,
    ),
    Statistic(
        "partial_eta_squared",
        "partial η²",
        "",
        "SS effect / (SS effect + SS of its error)",
        "Share of the variance that is left to this effect and its error.",
        "checked against R afex",
        has_interval=False,
    ),
    Statistic(
        "generalised_eta_squared",
        "generalised η²",
        "",
        "SS effect / (SS effect + SS of all athlete errors)",
        "Share of variance that can be compared between designs.",
        "Olejnik & Algina 2003; Bakeman 2005 (from memory); checked against R afex",
        has_interval=False,
    ),
    Statistic(
        "model_sd_athletes",
        "SD between athletes (model)",
        "metric",
        "square root of the REML variance of the random intercept (at the first session)",
        "How far apart are athletes' true values?",
        "REML; checked against R lme4",
        has_interval=False,
    ),
    Statistic(
        "model_sd_slopes",
        "SD of athletes' slopes (model)",
        "metric",
        "square root of the REML variance of the random slope, per session step",
        "How far apart are athletes' true rates of change, per session?",
        "REML; checked against R lme4",
        has_interval=False,
    ),
    Statistic(
        "model_correlation",
        "correlation of intercept and slope (model)",
        "",
        "REML covariance / product of the SDs",
        "Do athletes who start higher change more?",
        "REML; checked against R lme4",
        has_interval=False,
    ),
    Statistic(
        "model_sd_residual",
        "residual SD (model)",
        "metric",
        "square root of the REML residual variance",
        "How much does one session differ from the athlete's own line?",
        "REML; checked against R lme4",
        has_interval=False,
    ),
)
