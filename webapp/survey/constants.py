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
BRIX_MOST_DEG = Constant("most that a round of agave juice reads in the middle", 35.0, "°Bx", 3.0,
                         "a buyer's specification: 23–28 °Bx, 29 and more at the end of the dry season; six above that as margin", COMMON_PRACTICE)
BRIX_LOW_SHARE = Constant("part of the least usual °Brix of an age below which a round is doubted", 0.5, "1", 0.1, "assumption: rains, zones and slow plots take a fifth to a third, not a half", FROM_MEMORY)
NOTHING_DEG = Constant("a refractometer that reads nothing", 0.5, "°Bx", 0.2, "water reads 0.0; hand instruments are good for ±0.2 °Bx", COMMON_PRACTICE)
BRIX_USUAL_LOW = ((0.0, 5.0), (24.0, 8.0), (36.0, 11.0), (48.0, 16.0), (60.0, 20.0), (72.0, 22.0))
"""(months, °Bx) least that plots of an age usually read: the ripening model's practice curve less what plots of one age differ (1.5 °Bx, more
while they rise steeply); from memory. Where figures are said at all they lie a little higher (3 y 14–18, 4 y 18–22, 5 y 21–25, 6 y 23–27 °Bx)."""
SCALE_TIMES = Constant("how many times below or above what piñas of an age usually weigh one piña is out of scale", 4.0, "1", 0.0, "convention: piñas of one plot differ by 30 % (CV), plots by 20", FROM_MEMORY)
LOAD_SCALE_TIMES = Constant("how many times above it the mean piña of a load is", 2.5, "1", 0.0, "convention: piñas of one plot differ by 30 % (CV), plots by 20", FROM_MEMORY)
PINA_USUAL_KG = ((0.0, 0.3, 2.0), (24.0, 2.0, 4.0), (36.0, 5.0, 9.0), (48.0, 11.0, 17.0), (60.0, 19.0, 27.0), (72.0, 27.0, 36.0), (84.0, 33.0, 43.0), (96.0, 36.0, 48.0))
"""(months, low, high kg) usual piñas by age, rainfed commercial; from memory, no published curve found. The first line is of what is planted."""
