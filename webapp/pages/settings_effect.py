"""The effect of proposed settings in the page's words: plots, tonnes, plots that change, and what must be made anew."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from .. import jobs
from ..config import BY_NAME, IN_ORDER, Setting
from ..crop import effect_service as effects
from ..cutting import service as cutting
from ..land import service as land
from ..problems import Problem
from ..ripeness import service as ripeness
from ..ripeness.readiness import WORDS
from ..settings import Settings, load
from .access import db, may
from .conditions import CODES
from .layout import words

SHOWN_WEEKS = (0, 4, 8, 13, 17, 21, 26)
NAMED, MOST = 25, 300
"""Plots shown at once, and in the unfolded list at most."""


@dataclass(frozen=True)
class Change:
    setting: Setting
    before: Any
    after: Any


def shown(proposed: Settings, changes: list[Change], trial_fit: bool = False) -> dict[str, Any]:
    """Everything the page says of a proposal; ``title`` is its finding."""
    names = {c.setting.name for c in changes}
    out: dict[str, Any] = {"changes": changes, "title": words("pages.effect.title_none") if not changes else words("pages.effect.title", n=len(changes)), "version": load(db()).version,
                           "notes": [words("pages.effect.out_of_order", low=words(f"setting.{low}"), high=words(f"setting.{high}")) for low, high in IN_ORDER if names & {low, high} and proposed[low] > proposed[high]]}
    if effects.bears_on_crop(names):
        out |= _crop(effects.effect(db(), proposed, trial_fit))
    out["notes"] += _later(names, proposed, "crop" in out)
    asked = effects.asked_of_phones(db(), proposed) if names & set(effects.SAMPLING) else {}
    out["asked"] = [words(f"pages.effect.asked_{name}", before=before, after=after) for name, (before, after) in asked.items()]
    if any(c.setting.group == "cutting" for c in changes):
        out["by_hand"] = _by_hand({c.setting.name: c.after for c in changes if c.setting.group == "cutting"})
    return out


def _crop(found: effects.Effect) -> dict[str, Any]:
    plots, a, b = land.plots(db()), found.now, found.then
    at = [w for w in SHOWN_WEEKS if w < len(found.weeks)]
    weeks = [{"week": found.weeks[w], "plots": (int(a.ripe_plots[w]), int(b.ripe_plots[w])), "ripe": (a.ripe_t[w], b.ripe_t[w]), "mass": (a.mass_t[w], b.mass_t[w]),
              "sugar": (a.sugar_t[w], b.sugar_t[w]) if a.sugar_t is not None and b.sugar_t is not None else None,
              "low": (a.ripe_lo[w], b.ripe_lo[w]) if a.ripe_lo is not None and b.ripe_lo is not None else None,
              "high": (a.ripe_hi[w], b.ripe_hi[w]) if a.ripe_hi is not None and b.ripe_hi is not None else None} for w in at]
    bear = lambda i: (words(f"condition.{WORDS[i]}.letter"), words(f"condition.{WORDS[i]}.word"))  # noqa: E731
    counts = [(*bear(i), int((a.condition == i).sum()), int((b.condition == i).sum())) for i in range(len(WORDS))]
    counts = [count for i, count in enumerate(counts) if i < len(CODES) or any(count[2:])]
    rows = [{"code": m.code, "name": plots.at[m.code, "name"] if m.code in plots.index else m.code, "was": bear(m.condition[0]),
             "becomes": bear(m.condition[1]), "reworded": m.condition[0] != m.condition[1], "window_was": m.window[0], "window": m.window[1], "weeks": m.weeks}
            for m in found.moved[:MOST]]
    slid = [m for m in found.moved if m.window[0] != m.window[1]]
    by = [m.weeks for m in slid if m.weeks is not None]
    now, then = int(a.ripe_plots[0]), int(b.ripe_plots[0])
    title = words("pages.effect.title_ripe", n=then, now=now) if now != then else words("pages.effect.title_same", n=now)
    if found.fit == "left":
        title = words("pages.effect.title_fit")
    notes = [words("pages.effect.stale")] if ripeness.stale(ripeness.answer(db()), db()) else []
    if found.fit:
        seconds = _last_seconds("estimates")
        notes.append(words(f"pages.effect.fit_{found.fit}", seconds=seconds or 0) if found.fit == "made" or seconds else words("pages.effect.fit_left_unknown"))
    return {"crop": {"weeks": weeks, "counts": counts, "rows": rows[:NAMED], "more": rows[NAMED:], "beyond": len(found.moved) - len(rows), "reworded": sum(m.condition[0] != m.condition[1] for m in found.moved),
                     "slid": len(slid), "by_weeks": float(np.median(by)) if by else None, "of": len(found.plots), "drawn": found.drawn, "seconds": found.seconds},
            "title": title, "fit_left": found.fit == "left", "fit_notes": notes}


def _later(names: set[str], proposed: Settings, crop: bool) -> list[str]:
    """What saving does not do by itself, and about how long it takes."""
    out, groups = [], {BY_NAME[name].group for name in names}
    if "visits" in groups:
        out.append(words("pages.effect.visits"))
    if crop:
        seconds = _last_seconds("estimates")
        out.append(words("pages.effect.after_saving", seconds=seconds) if seconds else words("pages.effect.after_saving_unknown"))
    if (crop or "cutting" in groups) and may("see_plan"):
        out.append(words("pages.effect.plan", seconds=proposed["plan_seconds"]))
    if (crop or groups & {"outlook", "cutting"}) and may("see_plan"):
        seconds = _last_seconds("outlook")
        out.append(words("pages.effect.outlook", seconds=seconds) if seconds else words("pages.effect.outlook_unknown"))
    return out


def _last_seconds(kind: str) -> int | None:
    """How long the last job of a kind took here, whole seconds; None when none was made here."""
    for job in jobs.recent(db(), 60):
        if job["kind"] == kind and job["state"] == "done" and job["started_at"] and job["ended_at"]:
            took = datetime.fromisoformat(job["ended_at"].replace("Z", "+00:00")) - datetime.fromisoformat(job["started_at"].replace("Z", "+00:00"))
            return max(1, round(took.total_seconds()))
    return None


def _by_hand(what_if: dict[str, Any]) -> dict[str, Any] | None:
    """The best of people's rules before and after: quick, and below what the search will find. None without plots or crews."""
    try:
        now, then = (max(found, key=lambda h: h["incremental_mxn"]) for found in (cutting.by_hand(db()), cutting.by_hand(db(), **what_if)))
    except (Problem, ValueError):
        return None
    keys = ("delivered_t", "sugar_t", "short_t") + (("incremental_mxn",) if may("see_money") else ())
    return {name: (now[name], then[name]) for name in keys}
