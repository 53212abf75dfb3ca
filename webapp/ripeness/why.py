"""Why a plot's answer is what it is, as sentences with numbers that move with the data."""

from __future__ import annotations

from datetime import date

import numpy as np

from ..sentences import Sentence

PACE_TOLD_MONTHS = 1.0


def borrowed(prior_var: np.ndarray, var: np.ndarray) -> np.ndarray:
    """Share of today's answer that comes from other plots and prior knowledge: var after over var before own visits."""
    return np.clip(var / np.maximum(prior_var, 1e-9), 0.0, 1.0)


def sentences(visits: int, plants_last: int, last: date | None, today: date, pace_months: float, borrowed_share: float, zone: str, age_how: str, season_now_deg: float,
              season_high_deg: float, extrapolated: bool, age_read_months: float | None = None) -> list[Sentence]:
    """In reading order: visits, pace, season, borrowed, age, extrapolation."""
    out = []
    if visits and last:
        out.append(Sentence("ripeness.why.visits", {"n": visits, "days": (today - last).days, "plants": plants_last}))
    else:
        out.append(Sentence("ripeness.why.never", {}))
    if visits and age_read_months is not None:  # the age itself is in doubt: pace and age cannot be told apart
        out.append(Sentence("ripeness.why.age_read", {"n": round(age_read_months)}))
    elif visits and abs(pace_months) >= PACE_TOLD_MONTHS:
        out.append(Sentence("ripeness.why.ahead" if pace_months > 0 else "ripeness.why.behind", {"n": round(abs(pace_months)), "zone": zone or "–"}))
    elif visits:
        out.append(Sentence("ripeness.why.in_step", {"zone": zone or "–"}))
    out.append(Sentence("ripeness.why.season", {"now_deg": season_now_deg, "high_deg": season_high_deg}))
    out.append(Sentence("ripeness.why.own", {"own": 1 - borrowed_share}))
    if age_how != "dated":
        out.append(Sentence(f"ripeness.why.age_{age_how}", {}))
    if extrapolated:
        out.append(Sentence("ripeness.why.extrapolated", {}))
    return out
