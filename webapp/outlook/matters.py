"""What the balance of the touched years hangs on: each unknown's share of its variance, and what would tell.

The balance of a future is need less what stands and what the plan's plantings give, over the years
that next season's planting can reach. Its variance splits into covariances with its parts; a part
that works against another may come out below zero and is then shown as nothing.
"""

from __future__ import annotations

import numpy as np

from .classes import MIXED
from .demand import History
from .futures import Futures
from .need import Need


def ranked(f: Futures, past: History, needed: Need, hectares: np.ndarray, years: np.ndarray, mixed_share: float) -> list[dict]:
    """Unknowns by share of the variance, largest first: ``what`` (sales, spirit, standing, planted), ``market``, ``class``, ``share`` 0…1."""
    if not len(years) or f.count < 2:
        return []
    sugar = np.array([mixed_share if line[1] == MIXED else 1.0 for line in past.lines])
    litres = needed.line_litres[:, years].sum(axis=1) * sugar          # [S, L]
    mean_kg = needed.kg_per_l.mean()
    # lines carry their own ageing and loss through the ratio of all tonnes to all litres
    scale = needed.tonnes[:, years].sum(axis=1).mean() / max((litres.sum(axis=1) * mean_kg).mean(), 1e-9)
    parts: dict[tuple[str, str, str], np.ndarray] = {}
    for i, line in enumerate(past.lines):
        key = ("sales", line[0], line[2])
        parts[key] = parts.get(key, 0.0) + litres[:, i] * mean_kg * scale
    parts[("spirit", "", "")] = needed.tonnes[:, years].sum(axis=1) * (1 - mean_kg / needed.kg_per_l)
    before = np.diff(f.standing.ripe, axis=2, prepend=0.0)
    parts[("standing", "", "")] = -(before * f.standing.standard_t)[:, :, years].sum(axis=(1, 2))
    grown = np.diff(f.curve.ripe, axis=1, prepend=0.0) * f.curve.standard_t_ha
    planted = np.zeros(f.count)
    for p, area_ha in enumerate(hectares):
        ages = years - f.first - p
        ages = ages[(ages >= 0) & (ages < grown.shape[1])]
        planted += area_ha * grown[:, ages].sum(axis=1) * f.luck[:, f.first + p]
    parts[("planted", "", "")] = -planted
    balance = sum(parts.values())
    spread = balance - balance.mean()
    variance = float(spread @ spread)
    if variance <= 0:
        return []
    share = {key: max(0.0, float((value - value.mean()) @ spread) / variance) for key, value in parts.items()}
    total = sum(share.values()) or 1.0
    order = sorted(share, key=lambda key: (-share[key], key))
    return [{"what": key[0], "market": key[1], "class": key[2], "share": share[key] / total} for key in order]
