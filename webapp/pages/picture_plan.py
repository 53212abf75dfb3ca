"""The cutting plan: one row a plot, how ripe it is by week, and black blocks for what is cut."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Sequence

from .charts import Scale, ink_on, line, picture, ramp, rect, text

LEFT, CELL, ROW = 236, 35, 30


@dataclass(frozen=True)
class PlanRow:
    """One plot's row: shares and letters by week, tonnes cut by week, whether little is known."""

    label: str
    note: str
    shares: Sequence[float]
    letters: Sequence[str]
    cut_t: Sequence[float]
    wide: bool = False
    ordered: Sequence[bool] = field(default_factory=tuple)
    cleared_after: int | None = None


def plan_rows(name: str, weeks: Sequence[str], groups: Sequence[tuple[str, Sequence[PlanRow]]], mill_t: Sequence[float], mill_lo: Sequence[float],
              mill_hi: Sequence[float], need_t: Sequence[float], words: dict[str, str]) -> str:
    """SVG of the whole plan with the factory's weeks at its foot (``need_t`` 0 = the factory stops)."""
    width = LEFT + CELL * len(weeks) + 6
    body, y = [], 62.0
    for i, week in enumerate(weeks):
        if i % 2 == 0:
            body.append(text(LEFT + i * CELL + CELL / 2, 34, week[5:], "strong" if i == 0 else "soft", "middle"))
    body.append(text(LEFT - 12, 34, words["planted"], "soft", "end"))
    body.append(text(LEFT, 16, weeks[0][:4], "soft"))
    most = max([t for _, rows in groups for row in rows for t in row.cut_t] or [1]) or 1
    for zone, rows in groups:
        body += [text(0, y, zone, "strong"), line(0, y + 6, width - 6, y + 6, "rule")]
        y += 10
        for row in rows:
            body.append(_row(name, row, y, most, words))
            y += ROW
        y += 22
    y += 24
    up = Scale(0, max([*mill_hi, *need_t, 1.0]), y + 84, y)
    body += [text(0, y + 10, words["factory"], "strong"), text(0, y + 28, words["tonnes_week"], "soft")]
    for i in range(len(weeks)):
        x = LEFT + i * CELL
        if need_t[i] <= 0 and mill_t[i] <= 0:
            body.append(text(x + CELL / 2, y + 78, words["stop"], "soft small", "middle"))
            continue
        body.append(rect(x + 5, up(mill_t[i]), 25, up(0) - up(mill_t[i]), "c2"))
        body.append(line(x + 17.5, up(mill_lo[i]), x + 17.5, up(mill_hi[i]), "ink"))
        if need_t[i] > 0:
            body.append(line(x, up(need_t[i]), x + CELL, up(need_t[i]), "need"))
    body.append(line(LEFT, up(0), width - 6, up(0), "rule"))
    for i in range(1, len(weeks)):
        if weeks[i][:4] != weeks[i - 1][:4]:
            x = LEFT + i * CELL
            body += [line(x, 8, x, up(0) + 20, "ink"), text(x + 4, 16, weeks[i][:4], "soft")]
    body.append(text(LEFT - 12, up(max(need_t, default=0)) + 4, words["asks"], "soft", "end"))
    return picture(name, width, up(0) + 28, words["title"], words["desc"], "".join(body), "strip wide-only")


def _row(name: str, row: PlanRow, y: float, most: float, words: dict[str, str]) -> str:
    body = [text(0, y + 16, row.label), text(LEFT - 12, y + 16, row.note, "soft", "end")]
    until = len(row.shares) if row.cleared_after is None else row.cleared_after + 1
    last, letters = "", []
    for i in range(until):
        x, tone = LEFT + i * CELL, ramp(row.shares[i])
        body.append(rect(x, y, CELL + 0.4, 20, tone))
        if row.wide:
            body.append(rect(x, y, CELL + 0.4, 20, "", f' fill="url(#{name}-hatch)"'))
        cut = row.cut_t[i] > 0
        if row.letters[i] != last and not (cut and i + 1 < until and row.letters[i + 1] == row.letters[i]):  # a block would hide it: it waits a week
            letters.append(text(x + 4, y + 15, row.letters[i], f"small {ink_on(tone)}") if not cut else text(x + CELL / 2, y + 15, row.letters[i], "small light", "middle"))
            last = row.letters[i]
    for i, mass in enumerate(row.cut_t):
        if mass > 0:
            high = max(4.0, 16 * mass / most)
            body.append(rect(LEFT + i * CELL + 5, y + 20 - high, 25, high, "cut"))
            if row.ordered and row.ordered[i]:
                body.append(rect(LEFT + i * CELL + 2, y - 2, 31, 24, "ordered"))
    body += letters  # last, or the next bar covers half a letter
    if row.cleared_after is not None and until < len(row.shares):
        x = LEFT + until * CELL
        body += [line(x, y + 10, LEFT + len(row.shares) * CELL, y + 10, "rule"), text(x + 6, y + 6, words["cleared"], "small soft")]
    return "".join(body)
