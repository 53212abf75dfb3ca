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


def years_rows(name: str, years: Sequence[int], standing_t: Sequence[float], to_plant_t: Sequence[float], supply_lo: Sequence[float],
               supply_hi: Sequence[float], need_t: Sequence[float], need_lo: Sequence[float], need_hi: Sequence[float], words: dict[str, str]) -> str:
    """The same lying, 358 wide for a phone: a year under the other, the sales' band running down."""
    left, right, top, step = 44, 352, 44, 40
    high = max([*supply_hi, *need_hi, *(a + b for a, b in zip(standing_t, to_plant_t)), 1.0])
    x, foot = Scale(0, high * 1.04, left, right), top + step * len(years)
    body = []
    for tick in ticks(0, high, 4):
        at_end = x(tick) > right - 26
        body += [line(x(tick), top - 6, x(tick), foot, "rule"), text(356 if at_end else x(tick), top - 12, f"{tick:,.0f} t" if tick else "0", "soft", "end" if at_end else "middle")]
    mid = [top + (i + 0.5) * step for i in range(len(years))]
    for i, year in enumerate(years):
        y, tall, total = mid[i] - step * 0.36, step * 0.72, standing_t[i] + to_plant_t[i]
        body.append(rect(left, y, x(standing_t[i]) - left, tall, "c2"))
        if to_plant_t[i] > 0:
            body += [rect(x(standing_t[i]), y, x(total) - x(standing_t[i]), tall, "c0"), rect(x(standing_t[i]), y, x(total) - x(standing_t[i]), tall, "", f' fill="url(#{name}-hatch)"')]
        body += [line(x(supply_lo[i]), mid[i], x(supply_hi[i]), mid[i], "ink"), text(0, mid[i] + 4, str(year), "soft")]
    body.append(path([*zip((x(v) for v in need_hi), mid), *reversed(list(zip((x(v) for v in need_lo), mid)))], "band1", close=True))
    body += [path(zip((x(v) for v in need_t), mid), "need"), text(min(x(need_t[0]), right - 60), 12, words["need"], "strong", "middle")]
    return picture(name, 358, foot + 6, words["title"], words["desc"], "".join(body))
