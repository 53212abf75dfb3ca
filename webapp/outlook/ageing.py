"""From bottles sold to litres distilled: time in wood, evaporation, and what is in wood already.

A class sold in year y must be in wood A years before; of what is laid down, (1 − e)^A is left. Stock in
wood serves the first sales, oldest first; what it can't serve and can't be laid down any more (less than
A years from now) is lost to any plan and is told as such. All litres are counted at 40 % vol.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class LayDown:
    """distil_l [S, T, K] litres to distil in each period; from_stock_l, too_late_l [S, T, K] of the sales; left_l [S, K] stock never sold."""

    distil_l: np.ndarray
    from_stock_l: np.ndarray
    too_late_l: np.ndarray
    left_l: np.ndarray


def remaining(evaporation: float, years: float) -> float:
    """Share left after ``years`` in wood: (1 − e)^years."""
    return (1.0 - evaporation) ** years


def gross_up(evaporation: float, years: float) -> float:
    """Litres to fill per litre sold."""
    return 1.0 / remaining(evaporation, years)


def _serve(left: np.ndarray, stock: np.ndarray, served: np.ndarray, target: np.ndarray, years_in_wood: np.ndarray, now: float, loss_rate: np.ndarray) -> None:
    """Take from ``left`` [S, K, A], oldest first, until ``served`` [S, K] reaches ``target``; both change in place.

    Of the ``stock`` [K, A] litres in their a-th year, those old enough ``now`` years from today may be taken.
    """
    kept = (1.0 - loss_rate) ** now
    for age in range(left.shape[2] - 1, -1, -1):
        ripe = np.clip(age + 1 + now - years_in_wood, 0.0, 1.0)
        usable = np.maximum(left[:, :, age] - stock[None, :, age] * (1 - ripe), 0.0) * kept
        take = np.clip(target - served, 0.0, usable)
        served += take
        left[:, :, age] -= take / kept


def lay_down(sales_l: np.ndarray, length: np.ndarray, years_in_wood: np.ndarray, stock_l: np.ndarray, evaporation: float, periods: int,
             drawn_years: float = 5.0) -> LayDown:
    """Litres to distil for ``sales_l`` [S, T2, K] (litres a year in each year, at 40 %), T2 ≥ periods + longest ageing + 1.

    ``length`` [T2] is the share of the year still ahead (1.0 but for the first); ``years_in_wood`` [K];
    ``stock_l`` [K, A] litres by class and whole years in wood today, each year's litres spread evenly
    over it. Stock first serves what can't be laid down in time; what is more than that is a cover, drawn
    down evenly over ``drawn_years``. Returns arrays of ``periods`` periods.
    """
    count, span, kinds = sales_l.shape
    sold = sales_l * length[None, :, None]
    starts = np.concatenate([[0.0], np.cumsum(length)])[:-1]
    middle = starts + length / 2
    late = np.clip((years_in_wood[None, :] - starts[:, None]) / np.maximum(length[:, None], 1e-9), 0.0, 1.0)
    left = np.broadcast_to(stock_l, (count, kinds, stock_l.shape[1])).astype(float).copy()
    loss_rate = np.where(years_in_wood > 0, evaporation, 0.0)  # unaged stock waits in tanks
    served = np.zeros_like(sold)
    for t in range(span):
        _serve(left, stock_l, served[:, t], sold[:, t] * late[t], years_in_wood, middle[t], loss_rate)
    too_late = np.maximum(sold * late[None] - served, 0.0)
    cover = left.sum(axis=2)
    for t in range(span):
        allowed = cover * length[t] / max(drawn_years, 1e-9) * (1.0 - loss_rate) ** middle[t]
        _serve(left, stock_l, served[:, t], np.minimum(served[:, t] + allowed, sold[:, t] - too_late[:, t]), years_in_wood, middle[t], loss_rate)
    open_sales = np.maximum(sold - served - too_late, 0.0)
    # what remains of a year's sales is bottled evenly over the part of it that can still be laid down, and distilled that long before
    distil = np.zeros((count, periods, kinds))
    for k, wait in enumerate(years_in_wood):
        fill = gross_up(loss_rate[k], wait)
        for t in range(span):
            begin, end = max(starts[t], wait) - wait, starts[t] + length[t] - wait
            if end <= begin:
                continue
            inside = np.clip(np.minimum(end, starts[:periods] + length[:periods]) - np.maximum(begin, starts[:periods]), 0.0, None)
            distil[:, :, k] += open_sales[:, t, [k]] * fill * (inside / (end - begin))[None]
    return LayDown(distil, served[:, :periods], too_late[:, :periods], left.sum(axis=2))
