"""Statistics of reliability."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_MW = "McGraw & Wong 1996, with its correction; Shrout & Fleiss 1979"
_HOPKINS = "Hopkins 2000"
_COMMON = "common practice, no source"
_BA = "Bland & Altman 1986, 1999"

RELIABILITY: tuple[Statistic, ...] = (
    Statistic("icc_1", "ICC(1)", "", "(MSR − MSW) / (MSR + (k−1) MSW)", "how well one session tells athletes apart, when sessions do not differ", _MW),
    Statistic("icc_a1", "ICC(A,1), agreement", "", "(MSR − MSE) / (MSR + (k−1) MSE + k (MSC − MSE) / n)", "how well one session tells athletes apart, a session change counted as error", _MW, also_called=(("absolute agreement", _COMMON),)),
    Statistic("icc_c1", "ICC(C,1), consistency", "", "(MSR − MSE) / (MSR + (k−1) MSE)", "how well one session tells athletes apart, a common session change set aside", _MW),
    Statistic("icc_1k", "ICC(1), mean of k sessions", "", "Spearman–Brown of ICC(1)", "the same for the mean of k sessions (not of k jumps)", _MW),
    Statistic("icc_ak", "ICC(A), mean of k sessions", "", "Spearman–Brown of ICC(A,1)", "the same for the mean of k sessions (not of k jumps)", _MW),
    Statistic("icc_ck", "ICC(C), mean of k sessions", "", "Spearman–Brown of ICC(C,1)", "the same for the mean of k sessions (not of k jumps)", _MW),
    Statistic("typical_error", "Typical error", "metric", "√MSE", "how far one athlete's value moves from session to session without any true change (one SD)", _HOPKINS, question="typical_error", also_called=(("standard error of measurement", _COMMON), ("within-subject standard deviation", _COMMON))),
    Statistic("typical_error_robust", "Typical error, robust interval", "metric", "√MSE", "the typical error with an interval for noise that is heavy-tailed or differs between athletes", "Bonett 2006", question="typical_error"),
    Statistic("typical_error_pair", "Typical error of two sessions", "metric", "SD of differences / √2", "noise of one pair of sessions; a noisier first pair speaks for learning", _HOPKINS),
    Statistic("typical_error_percent", "Typical error as CV (logs)", "%", "100 (exp(√MSE of logs) − 1)", "the typical error in percent; a common session change is set aside", _HOPKINS),
    Statistic("cv_rms_percent", "CV, root mean square", "%", "100 √mean(SD_i² / mean_i²)", "within-athlete SD in percent, squared mean; a session change is contained", "Bland & Altman 1996 (within-subject SD); common practice"),
    Statistic("cv_mean_percent", "CV, mean of athletes", "%", "100 mean(SD_i / mean_i)", "mean of the athletes' own CVs; with few sessions too small by c₄", "common practice, no source", also_called=(("coefficient of variation", _COMMON),)),
    Statistic("typical_error_to_worthwhile", "Typical error / 0.2 SD", "", "5 √((1 − ICC) / ICC)", "noise against a fifth of the true spread between athletes; below 1 is rare", "arithmetic from ICC(C,1)"),
    Statistic("session_change", "Change between sessions", "metric", "mean of later − earlier", "did the whole squad move between sessions (learning, fatigue, plate)", "paired t"),
    Statistic("session_change_percent", "Change between sessions, percent", "%", "100 (exp(mean difference of logs) − 1)", "the same in percent, from logs", "paired t of logs"),
    Statistic("session_f", "F of sessions", "", "MSC / MSE", "do the session means differ more than the noise explains", "two-way analysis of variance", has_interval=False),
    Statistic("smallest_detectable_change", "Smallest detectable change, one athlete", "metric", "t · √2 · typical error", "smallest change of one athlete that noise alone rarely makes", "Weir 2005, with t instead of 1.96", question="smallest_detectable_change", also_called=(("minimal detectable change", _COMMON), ("minimum difference", _COMMON))),
    Statistic("noise_with_level", "Noise with level", "", "b in SD_i = c · level_i^b", "is the noise the same for low and high values (0) or in proportion to them (1)", "gamma regression: McCullagh & Nelder 1989 (from memory)"),
    Statistic("detectable_change_low", "Smallest detectable change, low level", "metric", "t · √2 · c · level^b", "smallest change that noise alone rarely makes, for the athlete at the tenth percentile", "as noise with level", has_interval=False),
    Statistic("detectable_change_high", "Smallest detectable change, high level", "metric", "t · √2 · c · level^b", "smallest change that noise alone rarely makes, for the athlete at the ninetieth percentile", "as noise with level", has_interval=False),
    Statistic("smallest_detectable_change_z", "Smallest detectable change (1.96)", "metric", "1.96 · √2 · typical error", "the published form, which covers too little with few athletes", "Weir 2005", question="smallest_detectable_change"),
    Statistic("smallest_detectable_change_mean", "Smallest detectable change, squad mean", "metric", "t · √2 · typical error / √n", "smallest change of the squad's mean that noise alone rarely makes", "arithmetic from the typical error"),
    Statistic("change_that_matters", "Change that matters", "metric", "declared by the user", "smallest change worth acting on", "the user's own judgement", has_interval=False, question="change_worth_acting_on", also_called=(("minimal important change", _COMMON),)),
    Statistic("smallest_worthwhile_change", "0.2 × true SD between athletes", "metric", "0.2 √((MSR − MSE) / k)", "an arbitrary stand-in when no change that matters was declared", "Hopkins 2004 (from memory); arbitrary", question="change_worth_acting_on", also_called=(("smallest worthwhile change", _COMMON),)),
    Statistic("limit_lower", "Lower limit of agreement", "metric", "bias − 1.96 SD of differences", "lowest difference between two sessions to expect of one athlete", f"{_BA}; interval Carkeet 2015"),
    Statistic("limit_upper", "Upper limit of agreement", "metric", "bias + 1.96 SD of differences", "highest difference between two sessions to expect of one athlete", f"{_BA}; interval Carkeet 2015"),
    Statistic("limit_lower_percent", "Lower limit of agreement, percent", "%", "from logs", "lowest ratio of two sessions to expect of one athlete, as percent change", f"{_BA} (logs); interval Carkeet 2015"),
    Statistic("limit_upper_percent", "Upper limit of agreement, percent", "%", "from logs", "highest ratio of two sessions to expect of one athlete, as percent change", f"{_BA} (logs); interval Carkeet 2015"),
    Statistic("sd_between_athletes", "True SD between athletes", "metric", "√((MSR − MSE) / k)", "how much athletes truly differ", "variance components; interval Ting et al. 1990"),
    Statistic("sd_between_days", "SD between days", "metric", "√variance of athlete × session", "noise of one athlete from day to day that more jumps do not remove", "nested variance components"),
    Statistic("sd_between_jumps", "SD between jumps", "metric", "√variance within a session", "noise from jump to jump of one day, which averaging removes", "nested variance components"),
    Statistic("jump_order_slope", "Change per jump within a session", "metric", "regression on the order of jumps", "do jumps rise or fall within a session (warm-up, fatigue)", "athlete × session fixed"),
    Statistic("typical_error_mean_of_jumps", "Typical error of a mean of jumps", "metric", "√((σ²_day + σ²_jump / jumps) / sessions)", "noise of a value made of so many jumps and sessions", "Brennan 2001; intervals MLS"),
    Statistic("icc_mean_of_jumps", "ICC of a mean of jumps", "", "σ²_athlete / (σ²_athlete + noise²)", "how well a value made of so many jumps and sessions tells athletes apart", "Brennan 2001; intervals GPQ"),
    Statistic("best_jump_bias", "Best of jumps above the mean", "metric", "mean of (best − mean of the same jumps)", "how much 'best of m' grows merely with the number of jumps", "order statistics"),
    Statistic("typical_error_best_of_jumps", "Typical error of the best jump", "metric", "√MSE of the best of the first m jumps", "noise between sessions when the best jump is the value", "observed, equal numbers of jumps"),
)  # fmt: skip
