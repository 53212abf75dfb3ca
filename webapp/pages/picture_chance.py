"""Chance said against what turned out, tenth by tenth: dots on the slope when chances mean what they say."""

from __future__ import annotations

from .charts import Scale, line, picture, text


def chance_dots(name: str, found: dict, words: dict[str, str]) -> str:
    """SVG, 440 × 400: a dot and its 95 % interval for every tenth with enough pairs, the slope they should stand on, and the count below each."""
    left, right, top, foot = 40, 422, 26, 322
    x, y = Scale(0, 1, left, right), Scale(0, 1, foot, top)
    body = [text(left - 8, 14, words["up"], "soft")]
    for tick in (0, 0.25, 0.5, 0.75, 1):
        body += [line(left, y(tick), right, y(tick), "rule"), text(left - 8, y(tick) + 4, f"{100 * tick:.0f}", "soft", "end")]
    body.append(line(x(0), y(0), x(1), y(1), "need"))
    for row in found["tenths"]:
        middle = x((row["from"] + row["to"]) / 2)
        body.append(text(middle, foot + 38, f"{row['n']}", "soft", "middle"))
        if row["enough"]:
            at = x(row["said"])
            body += [line(at, y(row["low"]), at, y(row["high"]), "ink" if row["held"] else "target"), f'<circle cx="{at:.1f}" cy="{y(row["share"]):.1f}" r="5" class="{"chosen" if row["held"] else "dot"}"/>']
    body.append(line(left, foot, right, foot, "ink"))
    for i in range(11):
        body.append(text(x(i / 10), foot + 18, f"{10 * i}", "soft", "middle"))
    body += [text(left - 8, foot + 38, "n", "soft", "end"), text(right, foot + 64, words["along"], "soft", "end")]
    return picture(name, 440, 400, words["title"], words["desc"], "".join(body), "strip square")
