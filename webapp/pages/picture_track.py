"""Where outcomes fell inside their own forecasts: bars that stand level when the forecasts tell the truth."""

from __future__ import annotations

from .charts import Scale, line, picture, rect, text, ticks


def calibration_bars(name: str, found: dict, words: dict[str, str], width: int = 640) -> str:
    """SVG, ``width`` × 244: one bar for every equal slice of chance, the line they should reach, and the band that chance alone leaves them."""
    left, right, top, foot = (46 if width > 400 else 34), width - (20 if width > 400 else 12), 30, 196
    gap = 3 if width > 400 else 1.5
    high = max(max(found["count"]), found["high"]) * 1.08
    y, room = Scale(0, high, foot, top), (right - left) / found["bars"]
    body = []
    for tick in ticks(0, high, 4):
        body += [line(left, y(tick), right, y(tick), "rule"), text(left - 8, y(tick) + 4, f"{tick:g}", "soft", "end")]
    for i, count in enumerate(found["count"]):
        body.append(rect(left + i * room + gap, y(count), room - 2 * gap, foot - y(count), "c2"))
    body.append(rect(left, y(found["high"]), right - left, y(found["low"]) - y(found["high"]), "band2"))
    body += [line(left, y(found["expected"]), right, y(found["expected"]), "need"), line(left, foot, right, foot, "ink")]
    for i in range(found["bars"] + 1):
        body.append(text(left + i * room, foot + 18, f"{100 * i / found['bars']:.0f}", "soft", "middle"))
    body += [text(left, foot + 40, words["low"], "soft"), text(right, foot + 40, words["high"], "soft", "end"), text(right, 14, words["expected"], "soft", "end")]
    return picture(name, width, 244, words["title"], words["desc"], "".join(body))
