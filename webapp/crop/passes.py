"""What a selective pass leaves: the ripest plants are gone, the rest ripen on.

Plants keep their order: those cut were the top ``cut`` of the plot, so among what is left the ripe share
is what the whole plot would show, less what was taken.
"""

from __future__ import annotations

import numpy as np


def share_after(share: np.ndarray, cut: np.ndarray | float) -> np.ndarray:
    """Ripe share of the plants that remain after the ripest ``cut`` (share of plants, 0…1) were taken.

    ``share`` is the ripe share the uncut plot would have, any shape that ``cut`` broadcasts to.
    """
    left = 1 - np.asarray(cut, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        out = np.where(left > 1e-9, (np.asarray(share, float) - cut) / np.maximum(left, 1e-9), 0.0)
    return np.clip(out, 0.0, 1.0)


def mean_after(mean_deg: np.ndarray, plant_sd: float, residuals: np.ndarray, cut: float) -> np.ndarray:
    """Mean °Brix of the plants that remain: the pooled distribution without its top ``cut``."""
    points = np.sort(residuals)
    keep = points[: max(1, int(round(len(points) * (1 - cut))))]
    return mean_deg + plant_sd * float(keep.mean() - points.mean())
