"""SVG by hand: scales, ticks and marks that carry classes, so print, dark and contrast come from CSS.

Marks also carry plain attributes where a picture must stand alone. Nothing here knows the trade but
:func:`ramp`, the one place where a ripe share becomes a colour class.
"""

from __future__ import annotations

from html import escape
from bisect import bisect_right
from math import floor, isfinite, log10
from typing import Iterable, Sequence

RAMP = (0.02, 0.10, 0.25, 0.375, 0.50, 0.80)
"""Ripe shares at which the colour class steps from c0 to c6; 0.25 and 0.50 are the default
*near* and *ripe* thresholds, so a letter and its colour step together."""


def ramp(share: float) -> str:
    """Colour class of a ripe share 0…1: ``c0`` (none) … ``c6`` (nearly all)."""
    return f"c{bisect_right(RAMP, share) if share == share else 0}"


def ink_on(ramp_class: str) -> str:
    """Text class that keeps ≥ 4.5:1 on a ramp colour."""
    return "light" if ramp_class in ("c5", "c6") else "dark"


class Scale:
    """Linear map of ``low…high`` onto ``start…end`` (pixels)."""

    def __init__(self, low: float, high: float, start: float, end: float) -> None:
        self.low, self.high, self.start, self.end = low, high if high != low else low + 1, start, end

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round numbers within ``low…high``, roughly ``about`` of them."""
    span = high - low
    if not isfinite(span) or span <= 0:
        return [low]
    raw = span / max(about, 1)
    step = 10 ** floor(log10(raw))
    step *= next(f for f in (1, 2, 2.5, 5, 10) if f * step >= raw)
    first = -floor(-low / step) * step
    return [round(first + i * step, 10) for i in range(int((high - first) / step + 1e-9) + 1)]


def text(x: float, y: float, words: str, classes: str = "", anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{_class(classes)}>{escape(str(words))}</text>'


def rect(x: float, y: float, width: float, height: float, classes: str = "", extra: str = "") -> str:
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}" height="{max(height, 0):.1f}"{_class(classes)}{extra}/>'


def path(points: Iterable[tuple[float, float]], classes: str, close: bool = False) -> str:
    body = " L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path d="M{body}{"Z" if close else ""}"{_class(classes)}/>' if body else ""


def line(x1: float, y1: float, x2: float, y2: float, classes: str) -> str:
    return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"{_class(classes)}/>'


def band(xs: Sequence[float], lows: Sequence[float], highs: Sequence[float], classes: str) -> str:
    """A filled area between two lines (already in pixels)."""
    return path([*zip(xs, highs), *reversed(list(zip(xs, lows)))], classes, close=True)


def hatch(name: str) -> str:
    return (f'<pattern id="{name}" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            '<path class="wide" d="M0 0V5" stroke="#3c4d47" stroke-width="1"/></pattern>')


def picture(name: str, width: float, height: float, title: str, desc: str, body: str, classes: str = "strip", links: bool = False) -> str:
    """One SVG with an accessible name; ``links`` keeps its anchors reachable by keyboard."""
    role = "group" if links else "img"
    return (f'<svg class="{classes}" viewBox="0 0 {width:.0f} {height:.0f}" role="{role}" aria-labelledby="{name}-t {name}-d">'
            f'<title id="{name}-t">{escape(title)}</title><desc id="{name}-d">{escape(desc)}</desc>'
            f"<defs>{hatch(name + '-hatch')}</defs>{body}</svg>")


def _class(classes: str) -> str:
    return f' class="{classes}"' if classes else ""
