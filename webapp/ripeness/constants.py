"""Numbers of the ripening model that are not settings, each with its source and status."""

from __future__ import annotations

from ..quantity import COMMON_PRACTICE, DERIVED, FROM_MEMORY, Constant

_CURVE = "practice curve 5 + 22·(1 − exp(−(age/52 months)^1.9)), −0.03 °Bx a month past the peak; starting point that data correct"
CURVE_START_DEG = Constant("practice curve, °Brix at planting", 5.0, "°Bx", 3.0, _CURVE, FROM_MEMORY)
CURVE_RISE_DEG = Constant("practice curve, rise", 22.0, "°Bx", 3.3, _CURVE, FROM_MEMORY)
CURVE_MONTHS = Constant("practice curve, time scale", 52.0, "months", 6.0, _CURVE, FROM_MEMORY)
CURVE_POWER = Constant("practice curve, power", 1.9, "1", 0.0, _CURVE, FROM_MEMORY)
CURVE_FALL_DEG = Constant("practice curve, fall past the peak", 0.03, "°Bx/month", 0.0, _CURVE, FROM_MEMORY)
CURVE_TURN_MONTHS = Constant("practice curve, months before and after the peak over which the fall sets in", 6.0, "months", 0.0, "assumption: no week turns a plot", FROM_MEMORY)
SCALE_SD = Constant("prior sd of the curve's scale", 0.15, "1", 0.0, "assumption: the practice curve is right within 15 %", FROM_MEMORY)
SHIFT_SD_MONTHS = Constant("prior sd of the curve's shift", 6.0, "months", 0.0, "assumption", FROM_MEMORY)
LEVEL_SD_DEG = Constant("prior sd of the curve's level", 3.0, "°Bx", 0.0, "assumption", FROM_MEMORY)
BEND_SD_DEG = Constant("prior sd of bends of the curve", 1.5, "°Bx", 0.0, "assumption; Gaussian process over age with length 20 months", FROM_MEMORY)
BEND_MONTHS = Constant("length of bends of the curve", 20.0, "months", 0.0, "assumption", FROM_MEMORY)
FREE_PAST_PEAK_MONTHS = Constant("months past the peak up to which data may bend the curve", 6.0, "months", 0.0, "assumption: plots left standing longer are few and no fair sample", FROM_MEMORY)
SEASON_BY_MONTH = (1.01, 1.02, 1.03, 1.03, 1.02, 0.98, 0.92, 0.92, 0.92, 0.94, 1.00, 1.00)
"""Practice cycle of sugar, January to December, mean about 1: from memory, shaped to the published ratio of rainy to dry
factory sugar, 24.43 / 26.78 = 0.912 (Bautista-Justo et al. 2001, Acta Universitaria 11(1)); data correct it."""
SEASON_AT_DEG = Constant("°Brix the practice cycle multiplies", 24.0, "°Bx", 0.0, "assumption: about ripe", FROM_MEMORY)
SEASON_SD_DEG = Constant("prior sd of the first harmonic about the practice cycle", 1.2, "°Bx", 0.0,
                         "assumption; the whole cycle has 1.2 °Bx of half range (Bautista-Justo et al. 2001, factory receipts)", DERIVED)
SEASON2_SD_DEG = Constant("prior sd of the second harmonic about the practice cycle", 0.7, "°Bx", 0.0, "assumption", FROM_MEMORY)
DRIFT_WEEKS = Constant("memory of a plot's slow drift", 208.0, "weeks", 0.0, "assumption; 52 to 520 weeks changed coverage by less than 0.03 in simulation", FROM_MEMORY)
SHOCK_WEEKS = Constant("memory of what moves the whole estate at once", 104.0, "weeks", 0.0,
                       "assumption: with 39 weeks forecasts took every spell for over within the year and were worse on all simulated laws; 208 were a little better still, where spells never end", FROM_MEMORY)
SHOCK_AHEAD_DEG = Constant("what may yet move the whole estate at once, beside what its own years have shown", 0.65, "°Bx", 0.0,
                           "assumption: a few quiet years do not say that no drought will come", FROM_MEMORY)
SHOCK_AHEAD_CHANCE = Constant("chance that such a thing comes; when it does it is as much larger as keeps the sd over all futures", 0.06, "1", 0.0,
                              "assumption: most futures bring nothing of the kind and a few bring much of it", FROM_MEMORY)
SHOCK_AHEAD_UP = Constant("how much of such a thing goes upward: the few futures lie so many roots of their mean square above the rest", 0.8, "1", 0.0,
                          "assumption: nine in ten are dry years: sugar is higher in the dry season (Bautista-Justo et al. 2001), and growth takes no more rain than 46 mm a month (Niechayev et al. 2019, another agave)", FROM_MEMORY)
SPREAD_SLOPE_SD = Constant("prior sd of the growth with age of the plants' log variance", 0.5, "1 per 60 months", 0.0, "assumption", FROM_MEMORY)
BACK_TEST_WEEKS = (26, 52)
"""The fit is made again without the last half year and the last year, and its forecasts held against the visits left out."""
BACK_TEST_LOG_SD = Constant("prior sd of the log factor that a back-test multiplies variances by", 0.35, "1 (log)", 0.0, "assumption: the model's own intervals are about right", FROM_MEMORY)
BACK_TEST_SLOPE_SD = Constant("prior sd of that log factor's change in half a year", 0.25, "1 (log)", 0.0, "assumption", FROM_MEMORY)
BACK_TEST_LIMITS = (0.7, 4.0)
"""Least and most that a back-test multiplies the variance of a plot's mean by."""
AGE_SURE_MONTHS = Constant("uncertainty of a year the crew is sure of", 3.5, "months", 0.0, "a year is known, the month is not: 12/√12", DERIVED)
AGE_UNSURE_MONTHS = Constant("uncertainty of a year the crew is not sure of", 9.0, "months", 0.0, "assumption", FROM_MEMORY)
AGE_NONE_MONTHS = Constant("uncertainty of an age nobody noted", 24.0, "months", 0.0, "assumption: as its zone's plots, two years either way", FROM_MEMORY)

EYE_SD = Constant("error of the eye that picks the ripest plants, of the plants' own sd", 0.5, "1", 0.0, "assumption: about 1 °Bx beside 2 °Bx between plants", FROM_MEMORY)
FROST_SD_DEG = Constant("what a frost may have moved of the sugar of the plants it left", 1.0, "°Bx", 0.0, "assumption; cold is said to hurry ripeness with less sugar (press, 2010), no size published", FROM_MEMORY)
FIRE_SD_DEG = Constant("what a fire may have moved of the sugar of the plants it left", 1.5, "°Bx", 0.0, "assumption", FROM_MEMORY)
HAIL_SD_DEG = Constant("what hail may have moved of the sugar of the plants it left", 0.5, "°Bx", 0.0, "assumption", FROM_MEMORY)
PRUNING_SD_DEG = Constant("what pruning leaves may have moved of a plot's sugar", 0.5, "°Bx", 0.0, "assumption; no size published", FROM_MEMORY)
MOST_JUMPS = 6
"""Events of one plot whose mark on its sugar is followed."""

VISIT_PLANTS = Constant("plants of one more visit", 12, "plants", 0.0, "10 to 15 plants buy most at common visit costs (variance formula of one visit)", DERIVED)
DOUBT_DRAWS = 16
"""Antithetic draws over the standard deviations, to widen the intervals by what is not known of them."""
DOUBT_MOST_PLOTS = 500
"""Above this many plots the standard deviations are known well enough to leave that out."""
EXTRAPOLATED_MONTHS = Constant("age beyond the oldest sampled from which the curve is called extrapolated", 6.0, "months", 0.0, "assumption", FROM_MEMORY)
STIRRING_SHARE = Constant("expected ripe share from which even a plot below the young age is filling", 0.10, "share of plants", 0.0, "assumption", FROM_MEMORY)

SD_PRIORS = {"level": (1.5, 0.7), "pace": (6.0, 0.7), "drift": (0.3, 1.0), "visit": (0.5, 0.6), "plant": (2.0, 1.0), "zone": (0.5, 0.7), "zone_season": (0.3, 0.7), "zone_pace": (5.0, 0.8), "shock": (0.3, 1.0)}
"""Log-normal priors of the model's standard deviations: (median, log-sd). °Bx, months for the paces.
Gentle, from memory: they keep a component from vanishing where the data are silent."""
SD_PRIORS_STATUS = Constant("log-normal priors of the standard deviations", len(SD_PRIORS), "priors", 0.0, "medians 1.5, 6 months, 0.3, 0.5, 2.0, 0.5, 0.3, 5 months, 0.3; log-sd 0.6–1.0", COMMON_PRACTICE)
