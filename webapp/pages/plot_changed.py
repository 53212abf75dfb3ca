"""What the office's last corrections changed of a plot's answer: each figure with its interval, as it was and as it is."""

from __future__ import annotations

from typing import Any

from ..crop import changed_service
from ..ripeness import first_ripe, plot_service
from .access import db
from .conditions import letter, word
from .layout import chance, n0, n1, pct, share, words

FIGURES = ("brix", "share", "chance", "first", "mass", "word")


def changed(code: str, now: dict[str, Any], least_share: float, limits: tuple[float, ...]) -> dict[str, Any] | None:
    """{on, who, n, n_undone, record, same, rows: [{name, was, is, moved}]} with (figure, its interval) by the same fit before and now, and which of them moved; None without corrections."""
    last = plot_service.before_corrections(db(), code)
    if last is None:
        return None
    was, is_now = _told(last["before"], least_share, changed_service.tonnes_as(db(), code, last["readings"]), limits), _told(now, least_share, changed_service.tonnes_as(db(), code), limits)
    rows = [{"name": name, "was": was[name], "is": is_now[name], "moved": [before != after for before, after in zip(was[name], is_now[name])]} for name in FIGURES]
    return {**{name: last[name] for name in ("on", "who", "n", "n_undone", "record")}, "rows": rows, "same": was == is_now, "brix": is_now["brix"][0], "share": is_now["share"][0]}


def _told(a: dict[str, Any], least_share: float, tonnes: tuple[float, float, float], limits: tuple[float, ...]) -> dict[str, tuple[str, str]]:
    """Figure and interval in words, by name; what has no interval of its own says nothing there."""
    early, late = (int(place) for place in first_ripe.interval(a["share_lo"], a["share_hi"], least_share))
    mass, low, high = tonnes
    read, first = a["n_visits"] > 0, int(first_ripe.weeks(a["share"], least_share))
    return {"brix": (n1(a["mean_deg"][0]), f"{n1(a['lo95'][0])} – {n1(a['hi95'][0])} (95\u00a0%)"), "share": (share(a["share"][0], limits), f"{pct(a['share_lo'][0])} – {pct(a['share_hi'][0])} (80\u00a0%)"),
            "chance": (chance(a["chance"][0]), ""), "first": (words("pages.ripeness.beyond") if first == first_ripe.NEVER else a["weeks"][first], words("pages.plot.changed.between", weeks=first_ripe.short(early, late, a["weeks"]))),
            "mass": (f"{n0(mass)} t", f"{n0(low)} – {n0(high)} (80\u00a0%)"), "word": (f"{letter(a['condition'][0], read)}, {word(a['condition'][0], read)}", "")}
