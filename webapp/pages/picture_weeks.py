"""The strip of weeks: bars left to right, the chosen one in ink; also the navigator of the map."""

from __future__ import annotations

from html import escape
from typing import Callable, Sequence

from .charts import Scale, line, picture, rect, text


def weeks_strip(name: str, weeks: Sequence[str], values: Sequence[float], chosen: str, title: str, desc: str,
                address: Callable[[str], str] | None, label: Callable[[str, float], str], width: int = 1280) -> str:
    """SVG of one bar a week. ``address(week)`` makes each bar a link; ``label`` its accessible name."""
    height, foot, room = 66, 44, width / len(weeks)
    up = Scale(0, max(max(values, default=0), 1e-9), foot, 5)
    body = [line(0, foot, width, foot, "rule")]
    for i, (week, value) in enumerate(zip(weeks, values)):
        x, here = i * room, week == chosen
        bar = rect(x + 3, 2, room - 6, foot - 2, "", ' fill="transparent"') + rect(x + 3, up(value), room - 6, foot - up(value), "chosen" if here else "c2")
        every = max(1, round(52 / room))
        if here or i % every == 0 and abs(weeks.index(chosen) - i) >= every if chosen in weeks else i % every == 0:
            bar += text(x + room / 2, 60, week[5:], "strong" if here else "soft", "middle")
        if address:
            current = ' aria-current="true"' if here else ""
            bar = f'<a href="{escape(address(week))}" aria-label="{escape(label(week, value))}" data-week="{week}"{current}>{bar}</a>'
        body.append(bar)
    return picture(name, width, height, title, desc, "".join(body), "strip weeks", links=address is not None)
