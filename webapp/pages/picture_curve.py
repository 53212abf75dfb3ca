"""°Brix of one plot against time: bands, the plants as they were read, the target, and the strip below."""

from __future__ import annotations

from datetime import date
from typing import Sequence

import numpy as np

from .charts import Scale, band, ink_on, line, path, picture, ramp, rect, text, ticks


def brix_curve(name: str, days: Sequence[date], mean: np.ndarray, lo80: np.ndarray, hi80: np.ndarray, lo95: np.ndarray, hi95: np.ndarray,
               share: np.ndarray, letters: Sequence[str], readings: Sequence[tuple[date, float]], target_deg: float, today: date,
               words: dict[str, str], year_label: str = "{}") -> str:
    """SVG, 860 × 380. Arrays are per day of ``days`` (past and coming); ``words`` holds the texts drawn."""
    left, right, top, foot = 46, 850, 14, 320
    values = [*lo95, *hi95, *[b for _, b in readings], target_deg]
    low, high = float(np.floor(min(values) - 0.5)), float(np.ceil(max(values) + 0.5))
    first = min([days[0], *[d for d, _ in readings]]).toordinal()
    x, y = Scale(first, days[-1].toordinal(), left, right), Scale(low, high, foot, top)
    body = []
    for tick in ticks(low, high, 6):
        body += [line(left, y(tick), right, y(tick), "rule"), text(left - 8, y(tick) + 4, f"{tick:g}", "soft", "end")]
    year = date.fromordinal(first).year
    for when in (date(y_, m, 1) for y_ in range(year, days[-1].year + 1) for m in (1, 7)):
        if first <= when.toordinal() <= days[-1].toordinal():
            body.append(text(x(when.toordinal()), 338, f"{when.year}" if when.month == 1 else words["july"], "soft", "middle"))
    xs = [x(d.toordinal()) for d in days]
    body += [band(xs, [y(v) for v in lo95], [y(v) for v in hi95], "band1"), band(xs, [y(v) for v in lo80], [y(v) for v in hi80], "band2")]
    body.append(path(zip(xs, (y(v) for v in mean)), "line"))
    body.append(line(left, y(target_deg), right, y(target_deg), "target"))
    body.append(text(right - 4, y(target_deg) - 6, words["target"], "warnt halo", "end"))
    now = x(today.toordinal())
    body += [line(now, top, now, foot + 4, "ink"), text(now - 6, top + 12, words["today"], "", "end")]
    body += [f'<circle class="dot" cx="{x(d.toordinal()):.1f}" cy="{y(b):.1f}" r="3.2"/>' for d, b in readings]
    last, letters_over = "", []
    for i, at in enumerate(xs):
        until = xs[i + 1] if i + 1 < len(xs) else at + (xs[-1] - xs[0]) / max(len(xs) - 1, 1)
        tone = ramp(float(share[i]))
        body.append(rect(at, 350, min(until, right) - at + 0.3, 20, tone))
        if letters[i] != last and min(until, right) - at >= 0 and right - at > 14:
            letters_over.append(text(at + 4, 364, letters[i], f"small {ink_on(tone)}"))
            last = letters[i]
    body += letters_over  # after the bars, or the next bar covers half a letter
    return picture(name, 860, 380, words["title"], words["desc"], "".join(body), "strip wide-only")
