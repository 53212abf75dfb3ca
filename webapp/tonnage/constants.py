"""Numbers of plants and piñas that are not settings, each with its source."""

from __future__ import annotations

from ..quantity import DERIVED, FROM_MEMORY, Constant

PINA_CV = Constant("spread of piña mass within a plot", 0.30, "1 (CV)", 0.05, "25–35 % within a plot; from memory", FROM_MEMORY)
VISIT_LOG_SD = Constant("error shared by the weighings of one visit", 0.05, "1 (log)", 0.02, "assumption: which plants are weighed, by whom; learned from visits", FROM_MEMORY)
LOAD_LOG_SD = Constant("error of a load's mass per plant", 0.05, "1 (log)", 0.02, "scale about 1 %, plants miscounted; learned from the loads", DERIVED)
LEVEL_LOG_SD = Constant("prior sd of the estate's level of piña mass", 0.25, "1 (log)", 0.0, "the Gompertz default is from memory: wide", FROM_MEMORY)
AGE_LOG_SD = Constant("prior sd of the growth curve's tilt", 0.08, "1 (log) per year", 0.0, "assumption", FROM_MEMORY)
YOUNG_LOG_SD = Constant("prior sd of the growth curve below five years", 0.20, "1 (log) per year", 0.0, "assumption", FROM_MEMORY)
NEW_LOG_SD = Constant("prior sd of the growth curve below the age anybody weighs", 0.50, "1 (log) per year", 0.0, "assumption: nobody weighs them", FROM_MEMORY)
YOUNGEST_WEIGHED_YEARS = 2.5
"""Below it the default curve is freed once more, down to one year: smaller plants are about what was put in."""
FALL_LOG_SD = Constant("prior sd of what piñas lose past the peak", 0.06, "1 (log) per year", 0.0, "from memory: 1–2 % a month; settings hold the mean", FROM_MEMORY)
BEND_LOG_SD = Constant("prior sd of bends of the growth curve", 0.12, "1 (log)", 0.0, "assumption; no published curve of piña mass against age", FROM_MEMORY)
BEND_YEARS = Constant("length of bends of the growth curve", 1.2, "years", 0.0, "assumption", FROM_MEMORY)
YEAR_LOG_SD = Constant("what a good or dry year does to all piñas of an estate", 0.05, "1 (log)", 0.0, "assumption; no published figure of piña mass by year", FROM_MEMORY)
YEAR_LENGTH = Constant("how long a good or dry year is felt", 2.0, "years", 0.0, "assumption: a plant stores for years", FROM_MEMORY)
UNLIKE_LOG_SD = Constant("how unlike the whole plot its weighed plants may be", 0.03, "1 (log)", 0.015,
                         "assumption: a weigher takes the nearest, a truck one corner; more loads do not remove it; learned where a plot has both", FROM_MEMORY)
STYLE_LOG = Constant("what a long cut weighs over a short one, and a short one over a shaved", 0.05, "1 (log)", 0.0, "assumption: length of the leaf base left; learned from the loads", FROM_MEMORY)
STYLE_LOG_SD = Constant("prior sd of that", 0.03, "1 (log)", 0.0, "assumption", FROM_MEMORY)
SELECTIVE_LOG_SD = Constant("prior sd of how much bigger the plants of a selective pass are", 0.08, "1 (log)", 0.0, "assumption: the ripest may be the biggest (a correlation of 0.3 and a spread of 30 % give 9 %); learned from the loads", FROM_MEMORY)
WEIGHED_LOG_SD = Constant("prior sd of how much weighed piñas differ from loads, on the whole estate", 0.05, "1 (log)", 0.0,
                          "assumption: weighers choose, and weigh cleaner piñas; what comes over the scale is what counts", FROM_MEMORY)
LABOR_LOG_SD = Constant("prior sd of what a leaf pruning or a fertilising does to piñas", 0.03, "1 (log)", 0.0, "assumption; settings hold the mean, the weighings learn", FROM_MEMORY)
CAPON_LOG_SD = Constant("prior sd of what being capón does to a piña", 0.10, "1 (log)", 0.0, "assumption; settings hold the mean, the weighings learn", FROM_MEMORY)
FEW_LEFT = Constant("uncertainty of the plants, as a part of them, from which they are normal and not below nought in place of log-normal", 0.5, "share", 0.0, "convention: above what plots that no paper tells of have (0.35)", DERIVED)
PLANTED_SD = Constant("uncertainty of the plants put in", 0.03, "share", 0.0, "assumption", FROM_MEMORY)
PLANTED_ALIKE_SD = Constant("part of that uncertainty that the plots nobody has counted share", 0.015, "share", 0.0, "assumption: papers and early losses err alike on one estate; half of the whole", FROM_MEMORY)
PLOT_LOSS_SD = Constant("chance in a plot's losses from year to year", 0.015, "share per √year", 0.0, "assumption", FROM_MEMORY)
PLOT_RATE_SD = Constant("how much a plot's yearly loss differs for good from the estate's", 0.012, "share per year", 0.006, "assumption: about two fifths of 3 %; learned from the counts", FROM_MEMORY)
CUT_SD = Constant("error of the plants counted into a load", 0.02, "share", 0.0, "assumption", FROM_MEMORY)
LOSS_SD = Constant("error of a recorded loss", 0.15, "share", 0.0, "assumption", FROM_MEMORY)
ROW_CV = Constant("spread between rows where only one was counted", 0.12, "1 (CV)", 0.04, "assumption; replaced by the rows' own spread as soon as two are counted", FROM_MEMORY)
OUTLINE_SD = Constant("error of the number of rows read off an outline", 0.05, "share", 0.0, "assumption", FROM_MEMORY)
"""Used only where nobody counted the rows of the plot."""
