"""From single readings to visits: number, mean and scatter per plot and round, padded to one array."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

MOST_VISITS = 60
"""Older visits beyond this many are folded out (a plot with hundreds of rounds still fits in memory)."""

TELLS_NOTHING_DEG = 5.0
"""°Bx of doubt with which a visit no longer counts as one: of plots that differ by 1.5 °Bx it tells less than a tenth."""


@dataclass(frozen=True)
class Visits:
    """Padded [P, M]: ``mean`` °Bx at 20 °C, ``n`` plants, ``day`` ordinal, ``known`` variance of the temperature correction (shared by the
    visit), ``mask``, ``squares_in`` sum of squares about the mean, ``doubt`` variance given beside to a visit far from all others (``weighing``),
    ``sure`` that the office has looked at it and left it, ``alike`` the plants of a visit that all read the same, which counts as one reading (``n`` 1) until somebody looks, else 0. Plants [R] of visits of three and more: ``residuals`` °Bx about their
    visit, made up for the mean being their own, with ``residual_plot`` and ``residual_day``."""

    mean: np.ndarray
    n: np.ndarray
    day: np.ndarray
    known: np.ndarray
    mask: np.ndarray
    squares_in: np.ndarray
    doubt: np.ndarray
    sure: np.ndarray
    alike: np.ndarray
    residuals: np.ndarray
    residual_plot: np.ndarray
    residual_day: np.ndarray

    @property
    def own_var(self) -> np.ndarray:
        """[P, M] variance of a visit known beside what the model says of every visit; 1 where there is none."""
        return np.where(self.mask, self.known + self.doubt, 1.0)

    @property
    def counts(self) -> np.ndarray:
        """[P, M] visits that say something of their plot; the others wait until somebody looks at them."""
        return self.mask & (self.doubt < TELLS_NOTHING_DEG**2)

    def until(self, day: float) -> "Visits":
        """Only what was seen up to a day."""
        early = self.residual_day <= day
        return _packed(replace(self, mask=self.mask & (self.day <= day), residuals=self.residuals[early], residual_plot=self.residual_plot[early], residual_day=self.residual_day[early]))

    def of(self, plots: np.ndarray) -> "Visits":
        """Only the plots at these places, in this order."""
        new = np.full(len(self.mean), -1)
        new[plots] = np.arange(len(plots))
        kept = new[self.residual_plot] >= 0
        return replace(self, **{name: getattr(self, name)[plots] for name in PADDED}, residuals=self.residuals[kept], residual_plot=new[self.residual_plot[kept]], residual_day=self.residual_day[kept])


PADDED = ("mean", "n", "day", "known", "mask", "squares_in", "doubt", "sure", "alike")


def _packed(v: Visits) -> Visits:
    """Visits that count first in each row, the width no more than needed."""
    width = max(1, int(v.mask.sum(axis=1).max(initial=1)))
    order = np.argsort(~v.mask, axis=1, kind="stable")[:, :width]
    cut = {name: np.take_along_axis(getattr(v, name), order, axis=1) for name in PADDED}
    return replace(v, **{name: np.where(cut["mask"], value, 0).astype(value.dtype) for name, value in cut.items()})


def scatter_deg(v: Visits) -> float:
    """Pooled sd of plants within visits, °Bx; 0 where no visit has two plants."""
    freedom = float(np.where(v.mask, v.n - 1, 0).clip(0).sum())
    return float((v.squares_in[v.mask].sum() / freedom) ** 0.5) if freedom else 0.0


def one_of_alike(v: Visits, least: int, plants_sd_deg: float) -> Visits:
    """Visits of ``least`` plants and more that all read the same, and that nobody has left, as one reading: the mean may be right, but plants are not so alike.

    The plants' usual spread goes with it as known: where all are alike the fit would else believe that lone plants hardly differ.
    """
    alike = np.where(v.mask & (v.sure == 0) & (v.n >= least) & (v.squares_in < 1e-9), v.n, 0.0)
    i, j = np.nonzero(alike)
    kept = ~np.isin(v.residual_plot * 10**7 + v.residual_day, i * 10**7 + v.day[i, j]) | (np.abs(v.residuals) > 1e-6)
    return replace(v, n=np.where(alike > 0, 1, v.n), known=v.known + (alike > 0) * plants_sd_deg**2, alike=alike, residuals=v.residuals[kept], residual_plot=v.residual_plot[kept], residual_day=v.residual_day[kept])


def gather(plots: list[str], plot: np.ndarray, group: np.ndarray, day_ordinal: np.ndarray, brix_deg: np.ndarray, correction_sd_deg: np.ndarray, sure: np.ndarray | None = None) -> Visits:
    """Visits of the listed plots from readings (arrays of one length; NaN readings are left out).

    ``group`` names the round (readings without one are grouped by day), ``sure`` whether the office has left it as it is. Row order does not matter.
    """
    P = len(plots)
    where = pd.Series(plot, dtype=object).map({code: i for i, code in enumerate(plots)}).to_numpy(float)
    value = np.asarray(brix_deg, float)
    at = np.flatnonzero(~np.isnan(where) & ~np.isnan(value))
    names, found = pd.factorize(np.asarray(group)[at])
    key = where[at].astype(np.int64) * max(len(found), 1) + names
    left = np.zeros(len(at)) if sure is None else np.asarray(sure, float)[at]
    del where, names  # millions of readings: what is no longer needed goes at once
    value, spread, day = value[at], np.asarray(correction_sd_deg, float)[at], np.asarray(day_ordinal, float)[at]
    order = np.lexsort((spread, value, key))
    key, value, spread, day, left = key[order], value[order], spread[order], day[order], left[order]
    del order, at
    if not len(key):
        return Visits(*(np.zeros((P, 1)) for _ in range(4)), np.zeros((P, 1), bool), *(np.zeros((P, 1)) for _ in range(4)), np.zeros(0), np.zeros(0, int), np.zeros(0))
    start = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    n = np.diff(np.r_[start, len(key)])
    mean = np.add.reduceat(value, start) / n
    scatter = value - np.repeat(mean, n)
    squares, first, known = np.add.reduceat(scatter**2, start), np.minimum.reduceat(day, start), (np.add.reduceat(spread, start) / n) ** 2
    of = key[start] // max(len(found), 1)
    sort = np.lexsort((known, n, mean, first, of))
    last = np.searchsorted(of[sort], np.arange(P), side="right")
    place = np.arange(len(sort)) - np.searchsorted(of[sort], of[sort])
    counts = last - np.searchsorted(of[sort], np.arange(P))
    place = place - np.maximum(counts[of[sort]] - MOST_VISITS, 0)
    kept = place >= 0
    rows, columns, sort = of[sort][kept], place[kept], sort[kept]
    shape = (P, max(1, int(min(MOST_VISITS, counts.max(initial=1)))))
    out = {}
    for name, values in (("mean", mean), ("n", n), ("day", first), ("known", known), ("squares_in", squares), ("doubt", np.zeros(len(n))), ("sure", left[start]), ("alike", np.zeros(len(n)))):
        out[name] = np.zeros(shape)
        out[name][rows, columns] = values[sort]
    mask = np.zeros(shape, bool)
    mask[rows, columns] = True
    many = np.repeat(n > 2, n)
    far = (scatter * np.sqrt(np.repeat(n / np.maximum(n - 1, 1), n)))[many]
    return Visits(**out, mask=mask, residuals=far, residual_plot=np.repeat(of, n)[many], residual_day=np.repeat(first, n)[many])
