"""°Brix of one plot against time: bands, rounds as they were read, the target, the strip of ripe shares and, below, what was done in the plot."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from html import escape
from typing import Sequence

import numpy as np

from ..ripeness import rare
from .charts import Scale, band, ink_on, line, path, picture, ramp, rect, text, ticks

MOST_DOTS = 900
"""Above so many plants a round is drawn as a line from its least to its most; the table still has each."""
STRIP, LANE, NEAR, NEAR_SEVERAL = 18, 18, 13, 28


@dataclass(frozen=True)
class Curve:
    """Per day: mean and sd of the plot's mean, °Bx; ripe share; the condition's letter; part of the variance that is rare."""

    days: Sequence[date]
    mean: np.ndarray
    sd: np.ndarray
    share: np.ndarray
    letters: Sequence[str]
    rare_part: np.ndarray | float = 0.0

    def ends(self, level: float) -> tuple[np.ndarray, np.ndarray]:
        """(low, high) °Bx of the central interval of a level."""
        return tuple(self.mean + side * self.sd for side in rare.ends(level, self.rare_part))


@dataclass(frozen=True)
class Round:
    """One visit: mean and plants at 20 °C; ``state`` used, odd or doubted; ``tip`` the lines shown on it; ``label`` its words."""

    day: date
    mean: float
    values: Sequence[float]
    state: str
    tip: Sequence[str]
    label: str


@dataclass(frozen=True)
class Mark:
    """Something done or found on a day: a letter in a lane."""

    day: date
    letter: str
    lane: int
    label: str


@dataclass(frozen=True)
class Step:
    """A day from which the curve may step, by its number in the list under the picture."""

    day: date
    number: int
    label: str


def brix_curve(name: str, curve: Curve, rounds: Sequence[Round], out: Sequence[tuple[date, float]], marks: Sequence[Mark], target_deg: float, today: date,
               words: dict[str, str], width: int = 860, live: bool = True, steps: Sequence[Step] = ()) -> str:
    """SVG of ``width``. ``out`` are readings that do not count (day, °Bx as read); ``live`` rounds take the focus and show their lines.

    ``words`` holds title, desc, today, target (two short lines, right of the plot), july and hint.
    """
    told = live and bool(rounds)  # room above for the lines of a round
    left, right, top = 34 if width < 600 else 46, width - 52, 66 if told else 22
    foot = top + (278 if live else 286)
    low, high = _range(curve, rounds, out, target_deg)
    x, y = Scale(curve.days[0].toordinal(), curve.days[-1].toordinal(), left, right), Scale(low, high, foot, top)
    body = []
    for tick in ticks(low, high, 6):
        body += [line(left, y(tick), right, y(tick), "rule"), text(left - 8, y(tick) + 4, f"{tick:g}", "soft", "end")]
    body += _years(curve, x, foot + 17, words["july"])
    xs = [x(d.toordinal()) for d in curve.days]
    for level, tone in ((0.95, "band1"), (0.8, "band2"), (0.5, "band3")):
        under, over = curve.ends(level)
        body.append(band(xs, [y(max(v, low)) for v in under], [y(v) for v in over], tone))
    body += _steps([s for s in steps if curve.days[0] <= s.day <= curve.days[-1]], x, top, foot)
    body += [path(zip(xs, (y(v) for v in curve.mean)), "line"), line(left, y(target_deg), right, y(target_deg), "target")]
    now = x(today.toordinal())
    body += [line(now, top, now, foot + 4, "ink"), text(now, top - 5, words["today"], "", "middle")]
    body += [_cross(x(d.toordinal()), min(max(y(b), top + 4), foot - 4)) for d, b in out]
    few = sum(len(r.values) for r in rounds) <= MOST_DOTS
    body += [_round(one, x(one.day.toordinal()), y, few, live) for one in sorted(rounds, key=lambda r: (r.state != "used", r.day))]  # what needs an eye lies on top
    body += [text(right + 6, y(target_deg) - 3 + 13 * i, part, "warnt small") for i, part in enumerate(words["target"].split("\n"))]  # outside, where no curve comes
    if told:
        body.insert(0, text(left, 16, words["hint"], "soft tip-hint"))
    strip_at = foot + 26
    body += _strip(curve, xs, right, strip_at)
    lanes = sorted({(m.lane, m.letter) for m in marks})  # a line for each kind: letters that share one would be counted together
    for i, lane in enumerate(lanes):
        body += _lane([m for m in marks if (m.lane, m.letter) == lane], x, left, right, strip_at + STRIP + 16 + i * LANE)
    height = strip_at + STRIP + 8 + len(lanes) * LANE + (6 if lanes else 0)
    return picture(name, width, height, words["title"], words["desc"], "".join(body), f"strip curve {'desk-only' if live else 'phone-only'}", links=live)


def _range(curve: Curve, rounds: Sequence[Round], out: Sequence[tuple[date, float]], target_deg: float) -> tuple[float, float]:
    """Of the axis: all bands, plants and the target; what is left out only as far as 60 °Bx and never far off the rest."""
    values = [*(v for side in curve.ends(0.95) for v in side), *(v for r in rounds for v in r.values), target_deg]
    low, high = min(values), max(values)
    near = [b for _, b in out if low - 6 <= b <= high + 6]
    return max(float(np.floor(min([low, *near]) - 0.5)), 0.0), float(np.ceil(max([high, *near]) + 0.5))


def _years(curve: Curve, x: Scale, at: float, july: str) -> list[str]:
    out, half = [], x(curve.days[0].toordinal() + 182) - x(curve.days[0].toordinal())
    for when in (date(year, month, 1) for year in range(curve.days[0].year, curve.days[-1].year + 1) for month in (1, 7)):
        if curve.days[0] <= when <= curve.days[-1] and (when.month == 1 or half > 34):
            out.append(text(x(when.toordinal()), at, f"{when.year}" if when.month == 1 else july, "soft", "middle"))
    return out


def _round(one: Round, x: float, y: Scale, few: bool, live: bool) -> str:
    values = list(one.values)
    spread = [f'<circle class="plant" cx="{x:.1f}" cy="{y(v):.1f}" r="2.2"/>' for v in values] if few else [line(x, y(min(values)), x, y(max(values)), "ink")] if values else []
    at = y(one.mean)
    mean = (f'<path class="doubted" d="M{x:.1f} {at - 6:.1f}l6 11h-12z"/>' if one.state == "doubted" else f'<circle class="mean {one.state}" cx="{x:.1f}" cy="{at:.1f}" r="4.2"/>')
    if not live:
        return "".join(spread) + mean
    reach = [y(v) for v in (*values, one.mean)]
    tips = "".join(text(46, 16 + 16 * i, words, "strong" if i == 0 else "") for i, words in enumerate(one.tip[:3]))
    frame = rect(x - 8, min(reach) - 8, 16, max(reach) - min(reach) + 16, "hit")
    return f'<g class="round" tabindex="0" role="img" aria-label="{escape(one.label)}">{frame}{"".join(spread)}{mean}<g class="tip">{tips}</g></g>'


def _cross(x: float, y: float) -> str:
    return f'<path class="left-out" d="M{x - 3.5:.1f} {y - 3.5:.1f}l7 7m0 -7l-7 7"/>'


def _strip(curve: Curve, xs: list[float], right: float, at: float) -> list[str]:
    """Runs of one colour and letter as one bar; a letter where it changes and there is room."""
    ends = [*xs[1:], right]
    tones = [ramp(float(s)) for s in curve.share]
    bars, letters, start, last = [], [], 0, ""
    for i in range(1, len(xs) + 1):
        if i == len(xs) or (tones[i], curve.letters[i]) != (tones[start], curve.letters[start]):
            until = min(ends[i - 1], right)
            bars.append(rect(xs[start], at, until - xs[start] + 0.3, STRIP, tones[start]))
            if curve.letters[start] != last and until - xs[start] > 12:
                letters.append(text(xs[start] + 4, at + 13, curve.letters[start], f"small {ink_on(tones[start])}"))
                last = curve.letters[start]
            start = i
    return bars + letters  # letters after the bars, or the next bar covers half of one


def _steps(steps: Sequence[Step], x: Scale, top: float, foot: float) -> list[str]:
    """A dotted upright for each, its number at the foot; numbers that would stand on each other rise."""
    out, last, rise = [], -99.0, 0
    for step in sorted(steps, key=lambda s: (s.day, s.number)):
        at = x(step.day.toordinal())
        rise = rise + 1 if at - last < NEAR else 0
        last = at
        out.append(f'<g class="step"><title>{escape(step.label)}</title>{line(at, top, at, foot, "step-line")}{text(at + 3, foot - 4 - 13 * rise, str(step.number), "small strong halo")}</g>')
    return out


def _lane(marks: Sequence[Mark], x: Scale, left: float, right: float, at: float) -> list[str]:
    """One kind's letters on a thin line; those that would stand on each other become one with their number, ``v×6``."""
    groups: list[list[Mark]] = []
    for mark in sorted(marks, key=lambda m: m.day):
        gap = x(mark.day.toordinal()) - x(groups[-1][0].day.toordinal()) if groups else 0.0
        if groups and gap < (NEAR if len(groups[-1]) == 1 else NEAR_SEVERAL):
            groups[-1].append(mark)
        else:
            groups.append([mark])
    out = [line(left, at - 4, right, at - 4, "rule")]
    for group in groups:
        shown = group[0].letter + (f"×{len(group)}" if len(group) > 1 else "")
        title = "; ".join(m.label for m in group[:6]) + (" …" if len(group) > 6 else "")
        middle = (x(group[0].day.toordinal()) + x(group[-1].day.toordinal())) / 2
        out.append(f'<g><title>{escape(title)}</title>{text(middle, at, shown, "small halo", "middle")}</g>')
    return out
