"""What stands at the top of a plot's page: its headline, and beside it how sure the window is, what forbids or postpones the cut, what standing costs."""

from __future__ import annotations

from datetime import date
from typing import Any

from flask import g, url_for

from ..dictionary import choice_label
from ..ripeness import first_ripe, readiness
from ..sentences import LOCALES, Sentence
from ..weeks import monday_of
from . import conditions
from .access import may
from .conditions import word
from .layout import words

STILL = 0.005
"""A plot that would lose less than this share of its mass in the weeks shown is said to keep it."""


def unplanted(about: dict[str, Any], today: date) -> bool:
    return bool(about["planted_on"]) and about["planted_on"] > today


def headline(about: dict[str, Any], now: dict[str, Any], rest: dict[str, Any] | None, today: date) -> str:
    """What the window says, in months a person would use; a rest that forbids the cut stands in the headline itself."""
    if unplanted(about, today):
        return words("pages.plot.title_unplanted", name=about["name"], day=about["planted_on"])
    read = now["n_visits"] > 0
    said = {"name": about["name"], "word": word(now["condition"][0], read)}
    if not read and conditions.code_of(now["condition"][0], read).endswith("_maybe"):
        return words("pages.plot.title_maybe_doubted" if now.get("n_doubted") else "pages.plot.title_maybe", **said)
    if not now["window"]:
        return words("pages.plot.title_later", **said)
    first, last = (monday_of(w) if w else None for w in now["window"])
    if now.get("window_kind") == readiness.UNRIPE:
        return words("pages.plot.title_unripe" if first > today else "pages.plot.title_unripe_now", **said, first=_month(first))
    if first > today:
        return words("pages.plot.title_from" if last is None else "pages.plot.title", **said, first=_month(first), last=_month(last))
    if last is not None and last <= today:
        return words("pages.plot.title_past", **said)
    if rest:
        return words("pages.plot.title_rest", **said, until=rest["until"])
    return words("pages.plot.title_now_open" if last is None else "pages.plot.title_now", **said, last=_month(last))


def first_week(now: dict[str, Any], least_share: float) -> Sentence:
    """The 80 % interval of the first ripe week, from the same shares as everything on the page."""
    early, late = (int(place) for place in first_ripe.interval(now["share_lo"], now["share_hi"], least_share))
    return first_ripe.sentence(early, late, now["weeks"])


def end_week(known: Any, weeks: list[str]) -> Sentence:
    """The 80 % interval of the week in which the loss past the peak reaches its limit."""
    early, late = (first_ripe.NEVER if place is None else place for place in (known.end_first, known.end_last))
    return first_ripe.sentence(early, late, weeks)


def beside(now: dict[str, Any], look: dict[str, Any], least_share: float, rest: dict[str, Any] | None, spans: list[tuple[str, str]], plan_until: str | None, mass: dict[str, list[float]], sugar: dict[str, list[float]], today: date) -> list[dict[str, Any]]:
    """Lines under the headline: {text, and where it leads: [(address, words)]}."""
    window, kind, out = now["window"], now.get("window_kind"), []
    open_now = bool(window) and monday_of(window[0]) <= today
    if not window or kind == readiness.RIPENS:
        ripe, end = first_week(now, least_share), end_week(look["more"]["before"], now["weeks"])
        name = "none" if not window else "open" if window[1] is None else "window"
        out.append({"text": words(f"pages.plot.head.{name}", first=window and window[0], last=window and window[1], ripe=ripe, end=end), "links": []})
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
        out.append({"text": _standing(now, mass, sugar), "links": []})
    return out


def _standing(now: dict[str, Any], mass: dict[str, list[float]], sugar: dict[str, list[float]]) -> str:
    """What becomes of a plot past its limit that is left standing: mass, °Brix and sugar told apart."""
    name = "still" if mass["t"][-1] > (1 - STILL) * mass["t"][0] else "loses"
    return words(f"pages.plot.head.{name}", week=now["weeks"][len(mass["t"]) - 1], now_t=mass["t"][0], then_t=mass["t"][-1], low_t=mass["lo"][-1], high_t=mass["hi"][-1],
                 now_deg=float(now["mean_deg"][0]), then_deg=float(now["mean_deg"][len(mass["t"]) - 1]), low_deg=float(now["lo80"][len(mass["t"]) - 1]), high_deg=float(now["hi80"][len(mass["t"]) - 1]),
                 now_sugar_t=sugar["t"][0], then_sugar_t=sugar["t"][-1], low_sugar_t=sugar["lo"][-1], high_sugar_t=sugar["hi"][-1])


def _span(first: str, last: str) -> str:
    return first if first == last else f"{first} – {last}"


def _month(day: date | None) -> str:
    from babel.dates import format_date

    return "" if day is None else format_date(day, "MMMM 'de' y" if g.language == "es" else "MMMM y", locale=LOCALES[g.language])
