"""Statistics of change."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_COMMON = "common practice, no source"
_MEMORY = " (from memory)"

CHANGE: tuple[Statistic, ...] = (
    Statistic("mean_change", "Mean change", "metric", "mean of (later - earlier)", "how much did the group change", "Student 1908" + _MEMORY),
    Statistic("percent_change", "Change in percent", "%", "100 (exp(mean of ln(later / earlier)) - 1)", "how much did the group change, in percent", "Hopkins 2000, Sports Med 30:1" + _MEMORY),
    Statistic("cohen_dz", "d_z", "", "mean / SD of the changes", "how large is the change against the spread of changes", "Lakens 2013, Front Psychol 4:863" + _MEMORY, also_called=(("standardised response mean", _COMMON),)),
    Statistic("cohen_dav", "d_av", "", "mean change / sqrt((s1² + s2²)/2)", "how large is the change against the spread between athletes", "Cumming 2012; Algina & Keselman 2003" + _MEMORY),
    Statistic("hedges_g_within", "Hedges' g of a change", "", "mean change / SD of the changes × J(n - 1); limits of the effect itself", "the standardised effect with its small-sample bias taken off the point", "Hedges 1981, J Educ Stat 6:107" + _MEMORY, also_called=(("effect size", _COMMON),)),
    Statistic("hedges_g_between", "Hedges' g of a difference between groups", "", "difference of the changes / pooled SD of change × J(df); limits of the effect itself", "the standardised effect with its small-sample bias taken off the point", "Hedges 1981, J Educ Stat 6:107" + _MEMORY, also_called=(("effect size", _COMMON),)),
    Statistic("leave_one_out_range", "Range without one athlete", "metric", "smallest and largest estimate over leaving out one athlete", "does one athlete carry the result", _COMMON),
    Statistic("adjusted_difference", "Difference at equal baseline", "metric", "group - control in after, at the squad-mean baseline (ANCOVA)", "who ends higher, starting from the same baseline", "HC2: MacKinnon & White 1985; df: Bell & McCaffrey 2002" + _MEMORY, question="group_difference", also_called=(("ANCOVA", _COMMON),)),
    Statistic("simultaneous_difference", "Difference between groups, all contrasts at once", "metric", "as adjusted_difference or change_difference, multivariate t or Tukey-Kramer", "which groups differ when all contrasts are looked at", "Hothorn, Bretz & Westfall 2008, Biom J 50:346" + _MEMORY),
    Statistic("adjusted_mean", "Mean at equal baseline", "metric", "group mean of after at the squad-mean baseline", "where would each group be if all had started equal", "Searle, Speed & Milliken 1980, Am Stat 34:216" + _MEMORY),
    Statistic("group_f", "Joint test of groups", "", "F of equal adjusted means; the estimate is the partial η²", "do the groups differ at all", "Fisher 1932" + _MEMORY, has_interval=False),
    Statistic("slope_difference", "Difference of baseline slopes", "", "slope of after on before, group - control", "does the difference depend on the baseline", _COMMON),
    Statistic("slope_f", "Joint test of slopes", "", "F of equal slopes; the estimate is the partial η²", "does the difference depend on the baseline", _COMMON, has_interval=False),
    Statistic("difference_along_baseline", "Difference at a chosen baseline", "metric", "difference of the lines of after on before, at one baseline", "how large is the difference for athletes who start there", "Potthoff 1964, Psychometrika 29:241" + _MEMORY, also_called=(("simple effect", _COMMON),)),
    Statistic("clear_limit", "Baseline from which the difference is clear", "metric", "baseline at which the band of the difference reaches zero", "for whom do the groups differ", "Johnson & Neyman 1936, Stat Res Mem 1:57" + _MEMORY, has_interval=False, also_called=(("region of significance", _COMMON),)),
    Statistic("change_difference", "Difference of changes", "metric", "mean change of group - mean change of control", "which group changed more", "Welch 1938" + _MEMORY, question="group_difference", also_called=(("difference in differences", _COMMON),)),
    Statistic("dppc2", "d_ppc2", "", "change difference / pooled SD before × (1 - 3/(4 df - 1))", "the standardised difference of changes", "Morris 2008, Organ Res Methods 11:364" + _MEMORY),
    Statistic("permutation_p", "Re-randomisation test", "", "share of label deals with a studentised difference as large", "could the random deal alone have done this", "Fisher 1935; Janssen 1997, Stat Probab Lett 36:9" + _MEMORY, has_interval=False),
    Statistic("corrected_difference", "Difference at equal true baseline", "metric", "ANCOVA with the slope divided by the baseline's reliability", "who ends higher, starting from the same true baseline", "Carroll et al. 2006, Measurement Error in Nonlinear Models" + _MEMORY, question="group_difference"),
    Statistic("drift_expected", "Drift to be expected", "metric", "fitted value without training - start; or (slope - 1)(baseline - mean)", "how far would a chosen group move without training", "Davis 1976, Am J Epidemiol 104:493; Barnett et al. 2005, Int J Epidemiol 34:215" + _MEMORY, also_called=(("regression to the mean", _COMMON),)),
    Statistic("drift_towards_squad", "Drift from the choice", "metric", "slope · (group's selecting mean - squad's) - (group's start - squad's)", "how far would a chosen group move because it was chosen", "Davis 1976, Am J Epidemiol 104:493; Barnett et al. 2005, Int J Epidemiol 34:215" + _MEMORY),
    Statistic("squad_shift", "Shift of the whole squad", "metric", "mean of the squad at the second baseline - at the first", "how far did everybody move, chosen or not", _COMMON),
    Statistic("change_beyond_drift", "Change without regression to the mean", "metric", "mean of after - value expected without training, or from a baseline that did not decide the group", "what is left of a chosen group's change", "Barnett et al. 2005, Int J Epidemiol 34:215" + _MEMORY),
    Statistic("equivalence", "Equivalence", "metric", "two one-sided tests against ± the change that matters", "is the change smaller than the one that matters", "Schuirmann 1987, J Pharmacokinet Biopharm 15:657" + _MEMORY),
    Statistic("minimum_effect", "Minimum effect", "metric", "one-sided test against the change that matters", "is the change larger than the one that matters", "Murphy & Myors 1999, J Appl Psychol 84:234" + _MEMORY),
    Statistic("probability_meaningful_gain", "Share above + the change that matters", "", "1 - one-sided p against + the change that matters", "how much of the distribution lies above it; read after the interval", _COMMON, has_interval=False),
    Statistic("probability_meaningful_loss", "Share below - the change that matters", "", "1 - one-sided p against - the change that matters", "how much of the distribution lies below it; read after the interval", _COMMON, has_interval=False),
    Statistic("individual_change", "Change of one athlete", "metric", "later - earlier ± t · TE · sqrt(1/k1 + 1/k2)", "did this athlete truly change", "Hopkins 2000, Sports Med 30:1, with t for 1.96" + _MEMORY, also_called=(("responder", _COMMON),)),
    Statistic("individual_change_all", "Change of one athlete, all at once", "metric", "as individual_change, studentised maximum modulus", "did the athlete who stands out truly change", "Stoline & Ury 1979, Technometrics 21:87" + _MEMORY),
    Statistic("shrunken_change", "Shrunken change of one athlete", "metric", "group mean + λ (change - group mean), λ = σ²_R / (σ²_R + SE²)", "the best guess of one athlete's true change", "Efron & Morris 1975, J Am Stat Assoc 70:311" + _MEMORY),
    Statistic("response_sd", "Spread of true responses", "metric", "signed root of (variance of change, trained - control)", "did athletes respond differently to the same training", "Atkinson & Batterham 2015, Exp Physiol 100:577; limits: Ting et al. 1990" + _MEMORY, also_called=(("individual response", _COMMON),)),
    Statistic("session_difference", "Session against baseline, one athlete", "metric", "value - mean of the baseline sessions ± t · SE", "is this athlete away from the baseline today", _COMMON),
    Statistic("height_from_impulse", "Height change from net impulse", "m", "L(h1, h2) · 2 ln(J2 / J1)", "how much of the change of height came from impulse", "h = J²/(2 m² g), exact"),
    Statistic("height_from_mass", "Height change from body mass", "m", "-L(h1, h2) · 2 ln(m2 / m1)", "how much of the change of height came from body mass", "h = J²/(2 m² g), exact"),
    Statistic("n_needed", "Athletes needed", "", "smallest n that reaches the wanted power or width", "how many athletes does this question need", "noncentral t; Borm et al. 2007, J Clin Epidemiol 60:1234" + _MEMORY, also_called=(("sample size", _COMMON),)),
    Statistic("n_needed_assured", "Athletes needed to be 80 % sure", "", "n for the typical error that the true one exceeds with 20 % probability", "how many athletes suffice when the noise is only estimated", "Browne 1995, Stat Med 14:1933" + _MEMORY, has_interval=False),
    Statistic("assurance", "Assurance", "", "probability that the wanted power is reached: P(χ² ≥ df s² / σ*²)", "how sure is it that this size is enough when the noise is only estimated", "O'Hagan, Stevens & Campbell 2005, Pharm Stat 4:187" + _MEMORY, has_interval=False),
    Statistic("expected_power", "Expected power", "", "mean of power over the chi-square distribution of the typical error", "how often would the change be seen when the noise is only estimated", "O'Hagan, Stevens & Campbell 2005, Pharm Stat 4:187" + _MEMORY, has_interval=False),
    Statistic("power", "Power", "", "1 - β by the noncentral t", "how often would an effect of this size be seen", "noncentral t", has_interval=False),
    Statistic("power_simulated", "Power, simulated", "", "share of simulated studies that reject", "does a simulation agree with the formula", _COMMON),
    Statistic("expected_half_width", "Half width of the interval", "metric", "t · SE expected for these numbers", "how precisely will the change be known", _COMMON, has_interval=False),
    Statistic("assured_half_width", "Half width reached in 80 % of studies", "metric", "t · SE at the upper 80 % of the variance", "how precisely will the change be known, not just on average", "Kupper & Hafner 1989, Am Stat 43:101" + _MEMORY, has_interval=False),
    Statistic("mean_change_shifted", "Mean change if the missing differ", "metric", "mean of the complete + share missing × shift", "what if those who were missing changed differently", "Little 1993, J Am Stat Assoc 88:125" + _MEMORY),
    Statistic("tipping_shift", "Tipping point", "metric", "shift at which the interval reaches zero", "how different would the missing have to be", "Little 1993, J Am Stat Assoc 88:125" + _MEMORY, has_interval=False),
    Statistic("family_interval", "Interval for all exploratory metrics", "metric", "interval at 1 - α / m, or at 1 - α R / m for the R kept", "what holds when many metrics are looked at", "Bonferroni; Benjamini & Yekutieli 2005, J Am Stat Assoc 100:71" + _MEMORY),
    Statistic("target_interval", "Change of a target", "metric", "estimate ± t · SE at the level at which all targets hold together", "did the measure move as it was meant to", "Pipper, Ritz & Bisgaard 2012, J R Stat Soc C 61:315" + _MEMORY),
    Statistic("target_detectable", "Smallest detectable change of a target", "metric", "change whose interval leaves out zero in 80 % of studies", "how large would the change have to be to be seen here", "noncentral t", has_interval=False),
)  # fmt: skip
