"""Everything one plot's page says of ripeness: the curve through past and future, why the word is what it is, one visit more, what was said."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np

from .. import clock
from ..database import Database
from ..survey import service as survey
from ..weeks import monday_of
from . import constants as k
from . import narrowing, plot_effects, rare, service, turning, why

PAST_POINTS = 110
"""The past is drawn at about this many days, whatever its length."""


def look(db: Database, code: str, since: date) -> dict[str, Any]:
    """One plot's answer and what it rests on.

    ``now`` as :func:`service.plot_now`; ``days`` from ``since`` to the last week (its Thursdays) with ``curve`` arrays over them;
    ``first`` the place of this week; ``word``, ``margin``, ``ahead`` sentences about the condition and ``turns`` its changes; ``maybe`` and ``window``
    what a word without readings and a window without ripeness are, or None; ``hangs`` whether ripe or not is open; ``more`` what
    one visit of ``plants`` plants today would change: {before, after, plants, worth}.
    """
    now = service.plot_now(db, code)
    weeks = now["weeks"]
    coming = [monday_of(w) + timedelta(days=3) for w in weeks]
    step = max(7, (coming[0] - since).days // PAST_POINTS)
    past = [d for d in (coming[0] - timedelta(days=step * i) for i in range(1, 10_000 // step)) if d >= since][::-1]
    curve = service.plot_curve(db, code, past + coming)
    first = len(past)
    for name in service.CURVES:  # the coming weeks are the answer itself, not reckoned twice
        if name in curve:
            curve[name] = np.concatenate([curve[name][:first], np.asarray(now[name], float)])
    lim, answer = service.limits(db), service.answer(db)
    plant, residuals = curve["plant_sd_deg"][first:], answer.arrays["fit_residuals"]
    condition, mean, sd = int(now["condition"][0]), np.asarray(now["mean_deg"], float), np.asarray(now["sd_deg"], float)
    found = turning.turns(now["condition"], now["share"], now["keep_share"], weeks)
    lacking = {other: turning.lacking_deg(mean[0], sd[0], plant[0], residuals, lim, share, *(float(now[name][0]) for name in ("taken", "ready"))) for other, share in ((turning.NEAR, lim.near_share), (turning.RIPE, lim.ripe_share_to_cut))}
    end, part = service.plot_end(db, code), np.asarray(now["rare_part"], float)
    before, after = (narrowing.known(mean, s, plant, residuals, lim, *(np.asarray(now[name], float) for name in ("taken", "ready")), (float(end.week[0]), float(left[0])), rare.thinned(part, sd, s))
                     for s, left in ((sd, end.sd), (np.asarray(now["sd_after_visit_deg"], float), end.after)))
    return {
        "now": now, "days": past + coming, "curve": curve, "first": first, "weeks": weeks,
        "word": why.reason(condition, now["share"][0], now["keep_share"][0], curve["age_months"][first], lim, now["n_visits"], now["age_months"]),
        "maybe": why.maybe(condition, now["n_visits"], bool(answer.meta.get("n_visits")), now.get("n_doubted", 0)), "window": why.window(now.get("window_kind"), now["window"], now["weeks"][0], lim), "margin": turning.margin(condition, lacking) if now["n_visits"] else [],
        "turns": found, "ahead": turning.ahead(condition, found, now["share"], weeks, lim),
        "hangs": bool(now["n_visits"]) and turning.hangs(condition, turning.chance_ripe_enough(lacking[turning.RIPE], now["share"][0], sd[0], part[0], lim)),
        "more": {"before": before, "after": after, "plants": int(float(k.VISIT_PLANTS)), "worth": narrowing.worth_it(before, after)},
        "season": next((s["params"] for s in now["why"] if s["code"] == "ripeness.why.season"), None), "visit_sd_deg": float(answer.meta["fit"]["visit_deg"])}


def effects(db: Database, code: str, readings: Any = None) -> plot_effects.Effects:
    """What the visits (or a table of ``readings`` like survey's in their place) say of one plot's own level and pace, from the stored fit."""
    model, one, _, _, seen = service._one(db, service.answer(db), code, readings)
    return plot_effects.effects(model, one, seen, float(clock.of(db).today().toordinal()))


def before_corrections(db: Database, code: str) -> dict[str, Any] | None:
    """What today's fit would say of a plot had the office not made its last corrections: {on, who, n, record, before: an answer}; None without any."""
    last = survey.last_corrections(db, code)
    return None if last is None else {**last, "before": service.plot_now(db, code, last["readings"])}
