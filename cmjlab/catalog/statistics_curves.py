"""Statistics of whole curves."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

_MAX_T = "Westfall & Young 1993, Resampling-Based Multiple Testing; Nichols & Holmes 2002, Hum Brain Mapp 15:1 (from memory)"
_OWN = "our own (parametric bootstrap), checked by simulation"

CURVES: tuple[Statistic, ...] = (
    Statistic("curve_largest_t", "Largest |t| along the curve", "", "largest |mean / standard error| over all points; p from dealing signs (one group) or labels (two groups, Welch's t) of whole curves again", "is there a change anywhere along the curve", _MAX_T, has_interval=False),
    Statistic("curve_stretch", "Change over a stretch of the curve", "metric", "mean over a run of points where the simultaneous band leaves zero; limits are the means of the band's", "where along the curve is there a change, and how large is it there", _MAX_T),
    Statistic("curve_typical_error", "Typical error of the curve over a phase", "metric", "root of the mean square over athletes, sessions and points of a phase, athletes and sessions taken out", "how well does the curve of one athlete repeat in this phase", "Hopkins 2000, Sports Med 30:1, at each point (from memory)", has_interval=False),
    Statistic("curve_athlete_largest", "Largest change of an athlete's curve beside its noise", "", "largest |change| / (√2 typical error) over all points", "did the curve of this athlete change anywhere by more than its noise", _OWN, has_interval=False),
    Statistic("curve_athlete_stretch", "Change of an athlete over a stretch of the curve", "metric", "mean over a run of points where the change lies beyond the noise of the whole curve; limits are the means of the band's", "where did this athlete change by more than the noise of the test", _OWN),
)  # fmt: skip
