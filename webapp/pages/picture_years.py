"""Supply against need by year: what stands today, what is still to plant (hatched), and the sales' band."""

from __future__ import annotations

from typing import Sequence

from .charts import Scale, band, line, path, picture, rect, text, ticks


def years_bars(name: str, years: Sequence[int], standing_t: Sequence[float], to_plant_t: Sequence[float], supply_lo: Sequence[float],
               supply_hi: Sequence[float], need_t: Sequence[float], need_lo: Sequence[float], need_hi: Sequence[float], words: dict[str, str]) -> str:
    """SVG, 1,120 × 330; tonnes a year, whiskers and band at 80 %."""
    left, right, top, foot = 72, 1110, 20, 296
    high = max([*supply_hi, *need_hi, *(a + b for a, b in zip(standing_t, to_plant_t)), 1.0])
    y, room = Scale(0, high * 1.04, foot, top), (right - left) / len(years)
    body = []
    for tick in ticks(0, high, 4):
        body += [line(left - 8, y(tick), right, y(tick), "rule"), text(left - 14, y(tick) + 4, f"{tick:,.0f} t" if tick else "0", "soft", "end")]
    mid = [left + (i + 0.5) * room for i in range(len(years))]
    for i, year in enumerate(years):
        x, wide, total = left + i * room + room * 0.12, room * 0.76, standing_t[i] + to_plant_t[i]
        body.append(rect(x, y(standing_t[i]), wide, foot - y(standing_t[i]), "c2"))
        if to_plant_t[i] > 0:
            body += [rect(x, y(total), wide, y(standing_t[i]) - y(total), "c0"),
                     rect(x, y(total), wide, y(standing_t[i]) - y(total), "", f' fill="url(#{name}-hatch)"')]
        body += [line(mid[i], y(supply_lo[i]), mid[i], y(supply_hi[i]), "ink"), text(mid[i], 318, str(year), "soft", "middle")]
    body.append(band(mid, [y(v) for v in need_lo], [y(v) for v in need_hi], "band1"))
    body.append(path(zip(mid, (y(v) for v in need_t)), "need"))
    body.append(text(mid[-1], max(y(need_t[-1]) - 10, top + 8), words["need"], "strong halo", "end"))
    return picture(name, 1120, 330, words["title"], words["desc"], "".join(body), "strip wide-only")
