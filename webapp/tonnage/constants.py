"""Numbers of plants and piñas that are not settings, each with its source."""

from __future__ import annotations

from ..quantity import DERIVED, FROM_MEMORY, Constant

PINA_CV = Constant("spread of piña mass within a plot", 0.30, "1 (CV)", 0.05, "25–35 % within a plot; from memory", FROM_MEMORY)
VISIT_LOG_SD = Constant("error shared by the weighings of one visit", 0.06, "1 (log)", 0.0, "assumption: which plants are weighed, by whom", FROM_MEMORY)
LOAD_LOG_SD = Constant("error of a load's mass per plant", 0.06, "1 (log)", 0.0, "scale about 1 %; the plants of one load are not the whole plot", DERIVED)
LEVEL_LOG_SD = Constant("prior sd of the estate's level of piña mass", 0.25, "1 (log)", 0.0, "the Gompertz default is from memory: wide", FROM_MEMORY)
AGE_LOG_SD = Constant("prior sd of the growth curve's tilt", 0.08, "1 (log) per year", 0.0, "assumption", FROM_MEMORY)
YOUNG_LOG_SD = Constant("prior sd of the growth curve below five years", 0.20, "1 (log) per year", 0.0, "assumption", FROM_MEMORY)
NEW_LOG_SD = Constant("prior sd of the growth curve below two years", 0.60, "1 (log) per year", 0.0, "assumption: nobody weighs them", FROM_MEMORY)
BEND_LOG_SD = Constant("prior sd of bends of the growth curve", 0.12, "1 (log)", 0.0, "assumption; no published curve of piña mass against age", FROM_MEMORY)
BEND_YEARS = Constant("length of bends of the growth curve", 1.2, "years", 0.0, "assumption", FROM_MEMORY)
UNLIKE_LOG_SD = Constant("how unlike the whole plot its weighed plants may be", 0.05, "1 (log)", 0.0,
                         "assumption: a pass takes the ripest plants, a weigher the nearest; more loads do not remove it", FROM_MEMORY)
PLANTED_SD = Constant("uncertainty of the plants put in", 0.03, "share", 0.0, "assumption", FROM_MEMORY)
PLOT_LOSS_SD = Constant("how much a plot's yearly losses differ from the estate's", 0.02, "share per √year", 0.0, "assumption", FROM_MEMORY)
CUT_SD = Constant("error of the plants counted into a load", 0.02, "share", 0.0, "assumption", FROM_MEMORY)
LOSS_SD = Constant("error of a recorded loss", 0.15, "share", 0.0, "assumption", FROM_MEMORY)
ROW_CV = Constant("spread between rows where only one was counted", 0.12, "1 (CV)", 0.04, "assumption; replaced by the rows' own spread as soon as two are counted", FROM_MEMORY)
OUTLINE_SD = Constant("error of the number of rows read off an outline", 0.05, "share", 0.0, "assumption", FROM_MEMORY)
"""Used only where nobody counted the rows of the plot."""
