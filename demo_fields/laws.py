"""The truth of the invented estate: how its agave ripens, grows and dies.

On purpose not the product's model: the curve of sugar is logistic with a slow fall (the product's prior is
of another shape), the season is drawn through twelve months and differs by zone, mass follows a logistic,
and a selective pass takes the ripest plants with an error of the eye.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

DAYS_PER_MONTH = 365.25 / 12
TARGET_DEG = 24.0
PLANT_SD_DEG, VISIT_SD_DEG, LEVEL_SD_DEG, PACE_SD_MONTHS = 2.2, 0.5, 1.2, 5.0
PLANT_CV, EYE_SD_DEG = 0.30, 0.9
# sugar runs high in the dry months before the rains and low in and after them (ART 26.78 dry, 24.43 rainy: Bautista-Justo 2001)
SEASON = (0.30, 0.62, 0.98, 1.08, 0.86, 0.10, -0.76, -1.00, -0.98, -0.72, -0.30, 0.02)


@dataclass(frozen=True)
class Zone:
    """Ripening of a zone: delay and season shift in months, level in °Bx, season's half range in °Bx, mass factor."""

    name: str
    short: str
    altitude_m: int
    haul_km: float
    truck_max_t: float
    wet_road: int
    delay_months: float
    level_deg: float
    season_deg: float
    season_shift: float
    mass: float


ZONES = {z.name: z for z in (
    Zone("Vado Seco", "VS", 1250, 9.0, 24.0, 0, -1.5, -0.2, 1.20, -0.3, 0.97),
    Zone("Los Hornos", "LH", 1480, 18.0, 24.0, 1, 0.0, 0.0, 1.05, 0.0, 1.00),
    Zone("Mesa del Tule", "MT", 1760, 31.0, 20.0, 1, 5.0, 0.2, 0.95, 0.3, 1.03),
    Zone("Loma Alta", "LA", 2050, 46.0, 16.0, 0, 14.0, 0.5, 0.80, 0.6, 1.06),
)}


def months(earlier: date, later: date) -> float:
    return (later - earlier).days / DAYS_PER_MONTH


def sugar_by_age(age_months: float) -> float:
    """Mean °Brix at 20 °C of a lowland planting without season: about 23.9 at six years, 25.4 at seven, then a slow fall."""
    rise = 7.0 + 19.6 / (1.0 + math.exp(-(age_months - 48.5) / 12.8))
    return rise - 0.05 * max(0.0, age_months - 102.0)


def season(zone: Zone, day: date) -> float:
    """The season's part in °Bx, smooth through the middles of the months."""
    at = (day.timetuple().tm_yday - 15.2) / 30.4375 - zone.season_shift
    i, part = math.floor(at), at - math.floor(at)
    a, b, c, d = (SEASON[(i + k) % 12] for k in (-1, 0, 1, 2))
    value = b + 0.5 * part * (c - a + part * (2 * a - 5 * b + 4 * c - d + part * (3 * (b - c) + d - a)))
    return zone.season_deg * value


def plot_mean(zone: Zone, age_months: float, day: date, pace_months: float, level_deg: float) -> float:
    """Mean °Brix of a plot nobody has picked over."""
    return sugar_by_age(age_months - zone.delay_months + pace_months) + zone.level_deg + level_deg + season(zone, day)


def pina_kg(zone: Zone, age_months: float, effect: float) -> float:
    """Mean piña of a plot: about 28 kg at six years, 33 at seven; past 100 months it loses 1.2 % a month."""
    grown = 38.0 / (1.0 + math.exp(-(age_months - 58.0) / 13.0))
    return zone.mass * effect * grown * (1.0 - 0.012) ** max(0.0, age_months - 100.0)


@dataclass(frozen=True)
class Spread:
    """°Brix of the plants left in a plot around its unpicked mean: a grid of deviations with weights summing to one."""

    deviations: tuple[float, ...]
    weights: tuple[float, ...]

    def mean(self) -> float:
        return sum(d * w for d, w in zip(self.deviations, self.weights))

    def above(self, threshold: float) -> float:
        """Share of the plants whose deviation reaches ``threshold`` (the grid cell it falls in counts in part)."""
        step = self.deviations[1] - self.deviations[0]
        return sum(w * min(1.0, max(0.0, 0.5 + (d - threshold) / step)) for d, w in zip(self.deviations, self.weights))

    def draw(self, u: float) -> float:
        step, run = self.deviations[1] - self.deviations[0], 0.0
        for d, w in zip(self.deviations, self.weights):
            if run + w >= u:
                return d + step * ((u - run) / w - 0.5)
            run += w
        return self.deviations[-1]


def whole_spread() -> Spread:
    grid = tuple(-9.0 + 0.15 * i for i in range(121))
    raw = [math.exp(-0.5 * (d / PLANT_SD_DEG) ** 2) for d in grid]
    total = sum(raw)
    return Spread(grid, tuple(r / total for r in raw))


def after_pass(spread: Spread, taken: float) -> Spread:
    """What is left when a crew takes the share ``taken`` that looks ripest to it."""
    if taken <= 0:
        return spread
    low, high = -30.0, 30.0
    for _ in range(60):
        cut = 0.5 * (low + high)
        gone = sum(w * _seen(d - cut) for d, w in zip(spread.deviations, spread.weights))
        low, high = (cut, high) if gone > taken else (low, cut)
    left = [w * (1.0 - _seen(d - cut)) for d, w in zip(spread.deviations, spread.weights)]
    total = sum(left)
    return Spread(spread.deviations, tuple(w / total for w in left))


def _seen(beyond: float) -> float:
    return 0.5 * (1.0 + math.erf(beyond / (EYE_SD_DEG * math.sqrt(2.0))))


def art_percent(brix_deg: float) -> float:
    """Total reducing sugars of a load, % of fresh mass, from the °Brix of its plants (ratio 0.91–0.93 near 25 °Bx)."""
    return 0.88 * brix_deg + 0.9


# correction to 20 °C for a refractometer without compensation, °Bx to add, near 25 °Bx: the printed series below 20 °C
# (OIV-MA-AS2-02 table I), a Lorentz–Lorenz column above; the columns for 10 and 40 °Bx differ by a few hundredths
CORRECTION = {5: (-0.82, -0.95, -1.05), 10: (-0.59, -0.67, -0.72), 15: (-0.32, -0.35, -0.37), 20: (0.0, 0.0, 0.0), 25: (0.37, 0.39, 0.40),
              30: (0.78, 0.82, 0.82), 35: (1.24, 1.28, 1.27), 40: (1.74, 1.76, 1.73)}


def correction(raw_deg: float, juice_c: float) -> float:
    rows = sorted(CORRECTION)
    juice = min(max(juice_c, rows[0]), rows[-1])
    low = max(r for r in rows if r <= juice)
    high = min(r for r in rows if r >= juice)

    def at(row: int) -> float:
        a, b, c = CORRECTION[row]
        raw = min(max(raw_deg, 5.0), 40.0)
        return a + (b - a) * (raw - 10) / 15 if raw <= 25 else b + (c - b) * (raw - 25) / 15
    return at(low) if high == low else at(low) + (at(high) - at(low)) * (juice - low) / (high - low)


def raw_reading(true_deg: float, juice_c: float) -> float:
    """What an instrument without compensation shows, so that correcting it gives the truth back."""
    raw = true_deg
    for _ in range(6):
        raw = true_deg - correction(raw, juice_c)
    return raw
