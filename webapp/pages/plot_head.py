"""What stands at the top of a plot's page: its headline, and beside it how sure the window is, what forbids or postpones the cut, what standing costs."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from flask import g, url_for

from ..dictionary import choice_label
from ..ripeness import first_ripe, readiness, turning
from ..sentences import LOCALES, Sentence, format_share
from ..weeks import monday_of
from . import conditions
from .access import may
from .conditions import word
from .layout import words

STILL = 0.005
"""A plot that would lose less than this share of its mass in the weeks shown is said to keep it."""


RAINS = range(6, 12)
"""Months in which a low share is put down to the rains (and what they leave in the ground): June to November."""


def unplanted(about: dict[str, Any], today: date) -> bool:
    return bool(about["planted_on"]) and about["planted_on"] > today


def headline(about: dict[str, Any], now: dict[str, Any], rest: dict[str, Any] | None, today: date, hangs: bool = False, tells: bool = True) -> str:
    """What the window says, in months a person would use, and by its last day once it is open; a rest that forbids the cut stands in the headline
    itself. ``hangs``: whether it is ripe is open; ``tells``: one visit would narrow it."""
    if unplanted(about, today):
        return words("pages.plot.title_unplanted", name=about["name"], day=about["planted_on"])
    read = now["n_visits"] > 0
    said = {"name": about["name"], "word": word(now["condition"][0], read)}
    if not read and conditions.code_of(now["condition"][0], read).endswith("_maybe"):
        return words("pages.plot.title_maybe_doubted" if now.get("n_doubted") else "pages.plot.title_maybe", **said)
    if not now["window"]:
        return words("pages.plot.title_later", **said)
    (first, last), kind = now["window"], now.get("window_kind")
    begins, ends = monday_of(first), monday_of(last) + timedelta(days=6) if last else None
    if kind == readiness.UNRIPE:
        return words("pages.plot.title_unripe" if begins > today else "pages.plot.title_unripe_now", **said, first=_month(first))
    if kind == readiness.PAST or ends and ends < today:
        return words("pages.plot.title_past", **said)
    end = words("pages.plot.end_open" if last is None else "pages.plot.end_day", day=ends, week=last)
    if begins > today:
        name = "from" if last is None else "within" if _month(first) == _month(last) else "between"
        when = words(f"pages.plot.when_{name}", first=_month(first), last=_month(last))
    elif rest:
        when = words("pages.plot.when_rest", until=rest["until"])
    else:
        when = end if hangs else words("pages.plot.when_open" if last is None else "pages.plot.when_now", end=end)
    if not hangs:
        return words("pages.plot.title", **said, when=when)
    name = "barely" if now["condition"][0] == turning.RIPE else "nearly"
    return words(f"pages.plot.title_{name}", **said, hint=words(f"pages.plot.{'one' if tells else 'no'}_visit"), when=when)


def cut_headline(about: dict[str, Any], code: str, cut: dict[str, Any] | None) -> str:
    """When a plot was cut, what came over the scale and how heavy its piñas were, as far as its loads tell."""
    said = {"name": about["name"], "code": code}
    if cut is None:
        return words("pages.plot.title_cut", **said)
    days = words("pages.plot.cut_day" if cut["began"] == cut["ended"] else "pages.plot.cut_days", began=cut["began"], ended=cut["ended"])
    if not cut["came_t"]:
        return words("pages.plot.title_cut_unweighed", **said, days=days)
    each = words("pages.plot.cut_each", kg=cut["kg_each"]) if cut["kg_each"] else ""
    unweighed = words("pages.plot.cut_unweighed", n=cut["unweighed"]) if cut["unweighed"] else ""
    return words("pages.plot.title_cut_on", **said, days=days, mass_t=cut["came_t"], each=each + unweighed)


def first_week(now: dict[str, Any], least_share: float) -> Sentence:
    """The 80 % interval of the first ripe week, from the same shares as everything on the page."""
    early, late = (int(place) for place in first_ripe.interval(now["share_lo"], now["share_hi"], least_share))
    return first_ripe.sentence(early, late, now["weeks"])


def end_week(known: Any, weeks: list[str]) -> Sentence:
    """The 80 % interval of the week in which the loss past the peak reaches its limit."""
    early, late = (first_ripe.NEVER if place is None else place for place in (known.end_first, known.end_last))
    return first_ripe.sentence(early, late, weeks)


def beside(now: dict[str, Any], look: dict[str, Any], values: Any, rest: dict[str, Any] | None, spans: list[tuple[str, str]], plan_until: str | None, mass: dict[str, list[float]], sugar: dict[str, list[float]], today: date) -> list[dict[str, Any]]:
    """Lines under the headline: {text, and where it leads: [(address, words)]}."""
    window, kind, out = now["window"], now.get("window_kind"), []
    open_now = bool(window) and monday_of(window[0]) <= today
    if not window or kind == readiness.RIPENS:
        ripe, end = first_week(now, values["ripe_share_to_cut"]), end_week(look["more"]["before"], now["weeks"])
        name = "none" if not window else "open" if window[1] is None else "window"
        out.append({"text": words(f"pages.plot.head.{name}", first=window and window[0], last=window and window[1], ripe=ripe, end=end), "links": []})
        if window and (low := dips(now, values["ripe_share_to_cut"])):
            out.append({"text": low, "links": []})
    parts, links = [], []
    if rest and (not window or monday_of(window[0]) < rest["until"]) and (window or spans):
        labor = choice_label("labor", "labor", rest["labor"], g.language)
        parts.append(words("pages.plot.head.rest_product" if rest["product"] else "pages.plot.head.rest", labor=labor.lower(), product=rest["product"], day=rest["day"], until=rest["until"]))
        links.append(("#log", words("pages.plot.head.see_log")))
    if spans:
        parts.append(words("pages.plot.head.planned", spans=[_span(*span) for span in spans]))
    elif plan_until and window and window[0] <= plan_until:
        parts.append(words("pages.plot.head.unplanned", last=plan_until))
    if parts:
        if spans or plan_until:
            links.append(("#plan", words("pages.plot.head.see_why")))
            links += [(url_for("cutting.page"), words("pages.nav.cutting"))] if may("see_plan") else []
        out.append({"text": " ".join(parts), "links": links})
    if open_now and kind != readiness.RIPENS:
        out.append({"text": _standing(now, mass, sugar, values["loss_per_month"]), "links": []})
    return out


def dips(now: dict[str, Any], least_share: float) -> str | None:
    """The weeks inside the window in which the share falls back below what one cuts from (the window bridges them), and the lowest of them; None without any."""
    weeks, first = now["weeks"], now["weeks"].index(now["window"][0]) if now["window"][0] in now["weeks"] else 0
    end = len(weeks) if now["window"][1] is None else weeks.index(now["window"][1]) + 1
    low = [i for i in range(first, end) if now["share"][i] < least_share]
    if not low:
        return None
    starts = [i for i in low if i - 1 not in low]
    runs = [(i, next(j for j in range(i, len(weeks) + 1) if j not in low) - 1) for i in starts]
    least = min(low, key=lambda i: now["share"][i])
    name = "dips_rains" if (monday_of(weeks[least]) + timedelta(days=3)).month in RAINS else "dips"
    return words(f"pages.plot.head.{name}", limit=least_share, spans=[_span(weeks[a], weeks[b]) for a, b in runs], share=format_share(now["share"][least], (least_share,)), week=weeks[least])


def _standing(now: dict[str, Any], mass: dict[str, list[float]], sugar: dict[str, list[float]], loss_per_month: float) -> str:
    """What becomes of a plot past its limit that is left standing: mass, °Brix and sugar told apart, and why sugar that rises is no reason to wait."""
    name, last = "still" if mass["t"][-1] > (1 - STILL) * mass["t"][0] else "loses", len(mass["t"]) - 1
    told = words(f"pages.plot.head.{name}", week=now["weeks"][len(mass["t"]) - 1], now_t=mass["t"][0], then_t=mass["t"][-1], low_t=mass["lo"][-1], high_t=mass["hi"][-1],
                 now_deg=float(now["mean_deg"][0]), then_deg=float(now["mean_deg"][len(mass["t"]) - 1]), low_deg=float(now["lo80"][len(mass["t"]) - 1]), high_deg=float(now["hi80"][len(mass["t"]) - 1]),
                 now_sugar_t=sugar["t"][0], then_sugar_t=sugar["t"][-1], low_sugar_t=sugar["lo"][-1], high_sugar_t=sugar["hi"][-1])
    if sugar["t"][-1] < sugar["t"][0] or name == "still":
        return told
    gone = 1 - float(now["keep_share"][last]) / max(float(now["keep_share"][0]), 1e-9)
    return f"{told} {words('pages.plot.head.hides', week=now['weeks'][last], rate=loss_per_month, gone=gone)}"


def _span(first: str, last: str) -> str:
    return first if first == last else f"{first} – {last}"


def _month(week: str | None) -> str:
    """The month in which most of a week lies."""
    from babel.dates import format_date

    return "" if week is None else format_date(monday_of(week) + timedelta(days=3), "MMMM 'de' y" if g.language == "es" else "MMMM y", locale=LOCALES[g.language])
