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


def lay_down(sales_l: np.ndarray, length: np.ndarray, years_in_wood: np.ndarray, stock_l: np.ndarray, evaporation: float, periods: int) -> LayDown:
    """Litres to distil for ``sales_l`` [S, T2, K] (litres a year in each year, at 40 %), T2 ≥ periods + longest ageing + 1.

    ``length`` [T2] is the share of the year still ahead (1.0 but for the first); ``years_in_wood`` [K];
    ``stock_l`` [K, A] litres by class and whole years in wood today. Returns arrays of ``periods`` periods.
    """
    count, span, kinds = sales_l.shape
    ages = stock_l.shape[1]
    sold = sales_l * length[None, :, None]
    starts = np.concatenate([[0.0], np.cumsum(length)])[:-1]
    middle = starts + length / 2
    served = np.zeros_like(sold)
    left = np.broadcast_to(stock_l, (count, kinds, ages)).astype(float).copy()
    loss_rate = np.where(years_in_wood > 0, evaporation, 0.0)  # unaged stock waits in tanks
    for t in range(span):
        kept = (1.0 - loss_rate) ** middle[t]
        for age in range(ages - 1, -1, -1):
            fit = (age + middle[t] >= years_in_wood)[None]
            want = sold[:, t] - served[:, t]
            take = np.where(fit, np.minimum(left[:, :, age] * kept, want), 0.0)
            served[:, t] += take
            left[:, :, age] -= take / kept
    open_sales = sold - served
    late = np.maximum(0.0, np.minimum(1.0, (years_in_wood[None, :] - starts[:, None]) / np.maximum(length[:, None], 1e-9)))
    too_late = open_sales * late[None]
    rate = (open_sales - too_late) / np.maximum(length[None, :, None], 1e-9)
    # from here rates: a sale of year t+whole (+1 for the rest of the lead) is distilled in year t
    distil = np.zeros((count, periods, kinds))
    for k in range(kinds):
        whole, rest = int(np.floor(years_in_wood[k] + 1e-9)), years_in_wood[k] - np.floor(years_in_wood[k] + 1e-9)
        for t in range(periods):
            near = rate[:, min(t + whole, span - 1), k]
            far = rate[:, min(t + whole + 1, span - 1), k]
            distil[:, t, k] = ((1 - rest) * near + rest * far) * length[t] * gross_up(evaporation if years_in_wood[k] > 0 else 0.0, years_in_wood[k])
    return LayDown(distil, served[:, :periods], too_late[:, :periods], left.sum(axis=2))
