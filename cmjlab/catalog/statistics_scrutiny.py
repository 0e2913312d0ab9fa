"""Statistics of what a sceptical reviewer asks."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_OWN = "derived here, coverage simulated in the tests"
_BA = "Bland & Altman 1999, 2007"
_MEMORY = " (from memory)"

SCRUTINY: tuple[Statistic, ...] = (
    Statistic("instrument_bias", "Bias of instrument and method", "metric", "mean of (measured − exact) over simulated recordings, t interval over simulated athletes", "how far off does this lab read on average", _OWN),
    Statistic("instrument_sd", "Spread by instrument and method, one jump", "metric", "SD of (measured − exact) within simulated athletes", "how far does a single recording scatter around the true jump", _OWN),
    Statistic("instrument_share_of_jumps", "Share of instrument and method in the noise of jumps", "%", "100 instrument SD² / SD between jumps², F interval", "how much of the noise from jump to jump is the lab's", _OWN),
    Statistic("instrument_share", "Share of instrument and method in the typical error", "%", "100 c · instrument SD² / typical error², c = 1/jumps for means; F interval", "how much of the typical error is the lab's", _OWN),
    Statistic("biology_sd", "Typical error without instrument and method", "metric", "√(typical error² − c · instrument SD²)", "what would be left of the typical error with perfect plates", "arithmetic; interval Ting et al. 1990"),
    Statistic("pool_bias", "Difference of two measurements of a jump", "metric", "mean of (second − first), t interval over athletes", "does one plate or method read higher than the other", _BA),
    Statistic("pool_limit_lower", "Lower limit of agreement of two measurements", "metric", "bias − 1.96 √(variance of athletes + variance within)", "lowest difference of a single jump to expect", _BA),
    Statistic("pool_limit_upper", "Upper limit of agreement of two measurements", "metric", "bias + 1.96 √(variance of athletes + variance within)", "highest difference of a single jump to expect", _BA),
    Statistic("pool_slope", "Slope of the first on the second", "", "Deming's line, jackknife over athletes", "does the difference grow with the value", "Deming 1943; Linnet 1990" + _MEMORY),
    Statistic("conversion_offset", "Offset of the conversion", "metric", "a of first = a + b · second", "what is added to bring the second to the first", "arithmetic from the line, or minus the bias"),
    Statistic("conversion_slope", "Factor of the conversion", "", "b of first = a + b · second; 1 where an offset is enough", "by what is the second multiplied", "Deming 1943" + _MEMORY, has_interval=False),
    Statistic("conversion_error", "Error of a converted jump (SD)", "metric", "√(variance of athletes + variance within + variance of the conversion)", "how far off is one converted jump of a new athlete", _OWN),
    Statistic("conversion_error_mean", "Error of a converted squad mean (SD)", "metric", "√((variance of athletes + variance within / jumps) / athletes + variance of the conversion)", "how far off is the mean of a converted squad of this size", _OWN, has_interval=False),
    Statistic("pool_error_plain", "Error added by pooling as it is", "%", "100 (bias² + variance of athletes + variance within / jumps) / typical error²", "how much noise does pooling add without conversion", _OWN),
    Statistic("pool_error_converted", "Error added by pooling after conversion", "%", "100 (conversion error of a session's value)² / typical error²", "how much noise does pooling add after conversion", _OWN),
)  # fmt: skip
