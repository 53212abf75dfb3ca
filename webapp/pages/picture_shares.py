"""The strip of a plot's coming weeks: ripe share as colour, letter and number, hatched where little is known; and the bar of what is its own."""

from __future__ import annotations

from html import escape
from typing import Callable, Sequence

from ..sentences import format_share
from .charts import ink_on, picture, ramp, rect, text


def share_strip(name: str, weeks: Sequence[str], share: Sequence[float], wide: Sequence[bool], letters: Sequence[str], title: str, desc: str,
                address: Callable[[str], str], label: Callable[[int], str], width: int = 860, rows: int = 1, limits: tuple[float, ...] = ()) -> str:
    """SVG of one cell a week, in one or more rows; each cell links to ``address(week)`` and is called ``label(place)``; no number is rounded across one of the ``limits`` that letters go by."""
    per_row = -(-len(weeks) // rows)
    room, height, body = width / per_row, 88, []
    for i, week in enumerate(weeks):
        x, y, tone = (i % per_row) * room, (i // per_row) * height, ramp(float(share[i]))
        cell = rect(x, y + 2, room - 1, 34, tone)
        if wide[i]:
            cell += rect(x, y + 2, room - 1, 34, "", f' fill="url(#{name}-hatch)"')
        cell += text(x + room / 2, y + 24, letters[i], f"strong {'on-hatch' if wide[i] else ink_on(tone)}", "middle")
        cell += text(x + room / 2, y + 50, format_share(share[i], limits).split("\u00a0")[0], "", "middle")
        if i % 2 == 0 or room > 40:
            cell += text(x + room / 2, y + 66, week[5:], "soft small", "middle")
        if i % per_row == 0 or week[:4] != weeks[i - 1][:4]:  # a week without its year is no week
            cell += text(x + 2 if i % per_row == 0 else x + room / 2, y + 80, week[:4], "small", "start" if i % per_row == 0 else "middle")
        body.append(f'<a href="{escape(address(week))}" aria-label="{escape(label(i))}" data-week="{week}">{cell}</a>')
    return picture(name, width, height * rows, title, desc, "".join(body), "strip", links=True)


def own_bar(name: str, own: float, title: str, desc: str) -> str:
    """SVG: how much of an answer rests on the plot's own visits (0…1), the rest pale."""
    return picture(name, 320, 22, title, desc, rect(0, 3, 320, 16, "lent") + rect(0, 3, 320 * min(max(own, 0.0), 1.0), 16, "owned"), "strip own-bar")
