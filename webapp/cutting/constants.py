"""Fixed numbers of cutting that are no one's setting, each with its source."""

from __future__ import annotations

from ..quantity import COMMON_PRACTICE, DERIVED, Constant

SHIFT_START_H = Constant("start of the shift", 7.0, "hour of the day", 0.5, "press: shifts start between 06:30 and 07:00", COMMON_PRACTICE)
SHIFT_HOURS = Constant("hours of cutting in a shift", 8.0, "h", 1.0, "press 2019 (Guanajuato): one 22 t truck in 5 h by a crew of six; a shift of eight", COMMON_PRACTICE)
LIFT_LIMIT_KG = Constant("most one man of 18–45 may lift", 25.0, "kg", 0.0, "NOM-036-1-STPS-2018 (DOF 23 Nov 2018), Table 1")
HALVE_FROM_KG = Constant("piñas halved or moved by a loader from", 50.0, "kg", 5.0, "derived from NOM-036-1-STPS-2018, Table 1: two men lift 2 × 25 kg", DERIVED)
KEEP_APART_M = Constant("distance between cutters", 3.0, "m", 0.5, "common practice: out of reach of the neighbour's coa", COMMON_PRACTICE)
BEST_GAP = Constant("gap from which a plan is called the best", 0.001, "share of incremental value", 0.0, "this estate's programme: below what any input is known to", DERIVED)
RAIN_MONTHS = (6, 7, 8, 9, 10)
"""June to October: crews cut less, roads that don't stand rain are closed (the region's rains; common practice)."""
DRY_MONTHS = (2, 3, 4, 5)
"""February to May: fire (common practice)."""
