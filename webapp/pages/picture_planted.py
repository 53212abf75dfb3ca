"""The strip of planting years: what each stands for in tonnes, in the tone of its ripe share."""

from __future__ import annotations

from typing import Sequence

from .charts import Scale, ink_on, line, picture, rect, text, ticks


def planted_bars(name: str, bars: Sequence[dict], words: dict[str, str]) -> str:
    """SVG, 1,120 × 300. Each bar: name, mass_t with low and high (80 %), tone, share and about (words)."""
    left, right, top, foot = 72, 1112, 22, 236
    high = max([*(b["high"] for b in bars), 1.0])
    y, room = Scale(0, high * 1.04, foot, top), (right - left) / max(len(bars), 1)
    body = []
    for tick in ticks(0, high, 4):
        body += [line(left - 8, y(tick), right, y(tick), "rule"), text(left - 14, y(tick) + 4, f"{tick:,.0f} t" if tick else "0", "soft", "end")]
    for i, bar in enumerate(bars):
        x, wide, tall = left + i * room + room * 0.12, room * 0.62, foot - y(bar["mass_t"])
        middle = x + wide / 2
        body += [rect(x, y(bar["mass_t"]), wide, tall, bar["tone"]), rect(x, y(bar["mass_t"]), wide, tall, "beside")]
        if tall > 20:
            body.append(text(middle, foot - 7, bar["share"], f"small {ink_on(bar['tone'])}", "middle"))
        body += [line(x + wide + 6, y(bar["low"]), x + wide + 6, y(bar["high"]), "ink"), text(middle, foot + 20, bar["name"], "strong", "middle"), text(middle, foot + 38, bar["about"][0], "soft", "middle"),
                 text(middle, foot + 54, bar["about"][1], "soft", "middle")]
    return picture(name, 1120, 300, words["title"], words["desc"], "".join(body), "strip wide-only")


def planted_rows(name: str, bars: Sequence[dict], words: dict[str, str]) -> str:
    """The same bars lying, 358 wide for a phone: a year under the other, its tonnes at the end of the bar."""
    left, right, step = 62, 356, 52
    high = max([*(b["high"] for b in bars), 1.0])
    x, body = Scale(0, high, left, right), []
    for i, bar in enumerate(bars):
        y, wide = i * step, x(bar["mass_t"]) - left
        body += [text(0, y + 18, bar["name"], "strong"), rect(left, y + 4, wide, 20, bar["tone"]), rect(left, y + 4, wide, 20, "beside"), line(x(bar["low"]), y + 28, x(bar["high"]), y + 28, "ink")]
        body.append(text(left + 6, y + 18, bar["share"], f"small {ink_on(bar['tone'])}") if wide > 40 else text(left + wide + 6, y + 18, bar["share"], "small"))
        body.append(text(left, y + 43, ", ".join([f"{bar['mass_t']:,.0f} t", *bar["about"]]), "soft"))
    return picture(name, 358, max(len(bars) * step, 1), words["title"], words["desc"], "".join(body), "strip")
