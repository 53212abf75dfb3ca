"""What loads taught, as pages show it: said before, came, says now, and the sentence."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np

from ..sentences import Sentence
from . import learning
from .learning import SURE, Spell

MOVED = 0.01
"""A piña that others' loads moved by less than this share is not spoken of."""


def about(spells: list[Spell], codes: list[str], plots: list[str], kg_now: np.ndarray, kg_a_year_ago: np.ndarray, widened: float, today: date) -> dict[str, Any]:
    """``estate`` and ``plots`` (the last spell of every plot that had one; for the others what others' loads moved), kg and shares."""
    found: dict[str, Any] = {code: {"loads": 0, "a_year_ago_kg": float(before), "now_kg": float(now), "moved_share": float(now / before - 1)} for code, now, before in zip(plots, kg_now, kg_a_year_ago)}
    for s in spells:  # in order of time: the last one stays
        said, came, now = (float(np.exp(v)) for v in (s.said, s.came, s.now))
        found[codes[s.plot]] = found.get(codes[s.plot], {}) | {
            "loads": s.loads, "began": (today + timedelta(days=round(s.years * 365.25))).isoformat(), "said_kg": said, "said_low80_kg": float(np.exp(s.said - SURE * s.said_sd)),
            "said_high80_kg": float(np.exp(s.said + SURE * s.said_sd)), "came_kg": came, "says_kg": now, "says_low80_kg": float(np.exp(s.now - SURE * s.now_sd)), "says_high80_kg": float(np.exp(s.now + SURE * s.now_sd)),
            "bias_share": said / came - 1, "left_share": now / came - 1, "removed_share": said / came - now / came, "z": (s.came - s.said) / s.said_sd}
    lately = learning.lately(spells)
    before, now = learning.bias(lately), learning.bias(lately, of_now=True)
    estate = {"spells": len(lately), "widened": widened, "before": before.as_dict() if before else None, "now": now.as_dict() if now else None,
              "removed_share": before.share - now.share if before and now else 0.0, "quarters": learning.by_step(spells)}
    return {"estate": estate, "plots": found}


def of_plot(one: dict[str, Any]) -> Sentence:
    """What was said of the plot's piñas before its last loads, what came, and what is said now."""
    if not one.get("loads"):
        moved = abs(one.get("moved_share", 0.0)) >= MOVED
        return Sentence("tonnage.learned.moved" if moved else "tonnage.learned.nothing", {"before": one["a_year_ago_kg"], "now": one["now_kg"]} if moved else {})
    which = "as_said" if abs(one["z"]) <= SURE else "high" if one["bias_share"] > 0 else "low"
    return Sentence(f"tonnage.learned.{which}", {"loads": one["loads"], "began": one["began"], "said": one["said_kg"], "low": one["said_low80_kg"], "high": one["said_high80_kg"], "came": one["came_kg"], "now": one["says_kg"],
                                                 "off": 100 * abs(one["bias_share"]), "left": 100 * one["left_share"]})


def of_estate(estate: dict[str, Any]) -> Sentence:
    """The estate's bias before and after the loads of the last year."""
    before, now = estate["before"], estate["now"]
    if not before:
        return Sentence("tonnage.learned.no_loads", {})
    found = before["low"] > 0 or before["high"] < 0
    return Sentence("tonnage.learned.estate_bias" if found else "tonnage.learned.estate", {"n": before["n"], "off": 100 * before["share"], "low": 100 * before["low"], "high": 100 * before["high"], "left": 100 * now["share"]})
