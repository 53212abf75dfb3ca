"""What the laboratory's sugar of a clearing says of its plot's °Brix: the one outcome left of plots cut before a round could tell. Pure."""

from __future__ import annotations

import numpy as np
import pandas as pd

from . import art

SPELL_DAYS = 28
"""Loads of a clearing are told together by four weeks: no longer than a forecast may be moved."""
ANY_PLOT = "?"
"""A plot without results of its own: its own line rests on the very rounds the forecast was made from."""


def of_clearings(loads: pd.DataFrame, line: art.Line) -> pd.DataFrame:
    """A row a plot and four weeks of its clearing: plot, day (ordinal), seen °Bx (ART by the estate's line), noise_deg, loads.

    The noise is that of the line, of the plot's own difference from it, and of the loads; a clearing takes all that stands, so it tells the plot's mean.
    """
    good = loads[(loads["clearing"] == 1) & (loads["art_percent"] > 0) & loads["day"].notna()]
    rows = []
    for plot, part in good.groupby("plot", sort=True):
        days = np.array([d.toordinal() for d in part["day"]])
        for spell in np.unique((days - days.min()) // SPELL_DAYS):
            mine = (days - days.min()) // SPELL_DAYS == spell
            ratio, sd = art.of_load(line, [name if isinstance(name, str) and name else "–" for name in part["lab_name"][mine]], [ANY_PLOT] * int(mine.sum()))
            brix = float(np.mean(part["art_percent"].to_numpy(float)[mine] / ratio))
            shared = float(np.mean(sd**2)) - line.load_sd**2
            rows.append((plot, int(round(days[mine].mean())), brix, brix / float(ratio.mean()) * float(np.sqrt(shared + line.load_sd**2 / mine.sum())), int(mine.sum())))
    return pd.DataFrame(rows, columns=["plot", "day", "seen", "noise_deg", "loads"])
