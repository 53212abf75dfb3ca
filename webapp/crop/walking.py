"""Minutes of a visit: the way there and the work in the plot. Roads are not mapped, so ways are straight lines times a factor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .visits_worth import BOTH, COUNT, COUNT_ROWS, SAMPLE

METRES_PER_DEGREE = 111_195.0
"""Of a great circle on the mean sphere (6,371 km)."""


@dataclass(frozen=True)
class Pace:
    """Assumptions of the settings: km/h on foot and by pick-up, minutes a drive costs beside the road, how much longer than the
    straight line a way is, minutes to set up, per plant and per row counted; plants of a sample."""

    walk_speed_km_h: float
    road_speed_km_h: float
    park_minutes: float
    road_factor: float
    visit_setup_minutes: float
    visit_plant_minutes: float
    count_row_minutes: float
    plants: int

    def work(self) -> np.ndarray:
        """[3] minutes in the plot of a sample, a count, both."""
        out = np.full(3, self.visit_setup_minutes)
        out[[SAMPLE, BOTH]] += self.plants * self.visit_plant_minutes
        out[[COUNT, BOTH]] += COUNT_ROWS * self.count_row_minutes
        return out

    def way(self, metres: np.ndarray) -> np.ndarray:
        """Minutes for straight-line distances, on foot or by pick-up, whichever is quicker."""
        km = np.asarray(metres, float) / 1000 * self.road_factor
        return 60 * np.minimum(km / self.walk_speed_km_h, km / self.road_speed_km_h + self.park_minutes / 60)


def from_start(lat: np.ndarray, lon: np.ndarray, pace: Pace, start: tuple[float, float] | None = None) -> np.ndarray:
    """[P] minutes from the start (without one, the middle of the plots) to each plot; without a place as far as the usual one."""
    lat, lon = np.asarray(lat, float), np.asarray(lon, float)
    placed = np.isfinite(lat) & np.isfinite(lon)
    if not placed.any():
        return np.zeros(len(lat))
    start = start or (float(np.median(lat[placed])), float(np.median(lon[placed])))
    across = np.cos(np.radians(np.median(lat[placed])))
    out = pace.way(METRES_PER_DEGREE * np.hypot(lat - start[0], (lon - start[1]) * across))
    return np.where(placed, out, float(np.median(out[placed])))


def legs(lat: np.ndarray, lon: np.ndarray, pace: Pace, start: tuple[float, float] | None = None) -> np.ndarray:
    """[P + 1, P + 1] minutes between places, the start last; without one, the middle of the plots. A plot without a place is
    as far as the usual leg."""
    lat, lon = np.asarray(lat, float), np.asarray(lon, float)
    placed = np.isfinite(lat) & np.isfinite(lon)
    if start is None:
        start = (float(np.median(lat[placed])), float(np.median(lon[placed]))) if placed.any() else (0.0, 0.0)
    y, x = np.r_[lat, start[0]], np.r_[lon, start[1]]
    known = np.r_[placed, bool(placed.any())]
    y, x = np.where(known, y, 0.0), np.where(known, x, 0.0)
    across = np.cos(np.radians(np.median(y[known]) if known.any() else 0.0))
    metres = METRES_PER_DEGREE * np.hypot(y[:, None] - y[None, :], (x[:, None] - x[None, :]) * across)
    out = pace.way(metres)
    both = known[:, None] & known[None, :]
    off = both & ~np.eye(len(both), dtype=bool)
    out = np.where(both, out, float(np.median(out[off])) if off.any() else 0.0)
    np.fill_diagonal(out, 0.0)
    return out
