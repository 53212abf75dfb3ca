"""Numbers of the survey that are not settings, each with its source."""

from __future__ import annotations

from ..quantity import COMMON_PRACTICE, DERIVED, FROM_MEMORY, PUBLISHED, Constant

OIV = "OIV-MA-AS2-02, table I (temperature correction of refractometer readings, % mass), family of EEC 2676/90; cells for 5–17 °C as printed"
PHYSICAL = ("derived: Lorentz–Lorenz mixture of IAPWS water and sucrose (ICUMSA 1974 table, SPS-4 density), two temperature coefficients "
            "calibrated on the 72 printed OIV cells (max difference 0.012 °Bx)")

ATC_LOW_C = Constant("ATC range, low end", 10.0, "°C", 2.0, "refractometer makers' notes: ATC effective 10–30 °C", COMMON_PRACTICE)
ATC_HIGH_C = Constant("ATC range, high end", 30.0, "°C", 2.0, "refractometer makers' notes: ATC effective 10–30 °C", COMMON_PRACTICE)
OIV_SD_DEG = Constant("rounding of the OIV table", 0.005, "°Bx", 0.0, OIV, PUBLISHED)
PHYSICAL_SD_DEG = Constant("physical correction to 30 °C", 0.02, "°Bx", 0.0, PHYSICAL + "; tolerance ±0.04 read as two sd", DERIVED)
PHYSICAL_HOT_SD_DEG = Constant("physical correction 30–40 °C", 0.04, "°Bx", 0.0, PHYSICAL + "; tolerance ±0.08 read as two sd", DERIVED)
ATC_SD_DEG = Constant("what a linear ATC leaves inside its range", 0.10, "°Bx", 0.0, "vendor notes: linear, least accurate at the ends; the size is from memory", FROM_MEMORY)
PER_DEGREE_DEG = Constant("correction per °C outside the tables", 0.08, "°Bx/°C", 0.02, "slope of the physical column near 40 °C", DERIVED)
UNKNOWN_TEMP_SD_C = Constant("spread of juice temperature when none was noted", 6.0, "°C", 2.0, "field juice 10–35 °C; from memory", FROM_MEMORY)
CLOCK_TOLERANCE_S = Constant("clock error that is repaired", 120.0, "s", 0.0, "two minutes: below, the phone's own time is better than the measurement", COMMON_PRACTICE)
FUTURE_TOLERANCE_S = Constant("how far ahead a repaired time may lie", 900.0, "s", 0.0, "fifteen minutes for slow networks", COMMON_PRACTICE)
