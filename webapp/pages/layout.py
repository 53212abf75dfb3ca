"""What every page shares: language, words, number formats, navigation, and what the answers rest on."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Any

from flask import Flask, g, render_template, request
from markupsafe import Markup, escape

from .. import clock, dictionary
from ..config import words_code
from ..database import rows
from ..people import permissions
from ..problems import Problem
from ..sentences import LANGUAGES, LOCALES, Sentence, format_chance, format_day, format_moment, format_share, known, say
from .access import db, may

MAIN = (("today", "today.page"), ("estate", "estate.page"), ("map", "map.page"), ("ripeness", "ripeness.page"), ("cutting", "cutting.page"),
        ("outlook", "outlook.page"), ("held", "held.page"))
MORE = (("orders", "orders.page"), ("sales", "sales.page"), ("land", "land.page"), ("people", "people.page"),
        ("settings", "settings.page"), ("track", "track.page"), ("method", "method.page"), ("trail", "trail.page"))
LANGUAGE_COOKIE = "language"
WEEK = re.compile(r"\b\d{4}-W\d{2}\b")


def prepare(app: Flask) -> None:
    app.before_request(_language)
    app.jinja_env.filters.update(n0=n0, n1=n1, n2=n2, pct=pct, share=share, chance=chance, day=day, short_day=short_day, weekday=weekday, week=short_week, weeks_whole=weeks_whole)
    app.context_processor(_shared)


def _language() -> None:
    asked = request.args.get("lang") or request.cookies.get(LANGUAGE_COOKIE)
    person = g.get("person")
    if asked in LANGUAGES:
        g.language = asked
    else:
        g.language = person.language if person else request.accept_languages.best_match(LANGUAGES, "es")


def words(code: str, /, **params: Any) -> str:
    """The sentence in the request's language."""
    return say(code, g.get("language", "es"), **params)


def render(template: str, /, **context: Any) -> str:
    return render_template(template, **context)


def _shared() -> dict[str, Any]:
    def text(sentence: Any) -> str:
        """Words of a Sentence, of its stored form {code, params}, or of a Problem."""
        if isinstance(sentence, dict) and "code" in sentence:
            sentence = Sentence(sentence["code"], sentence.get("params", {}))
        if isinstance(sentence, Sentence):
            return sentence.text(g.get("language", "es"))
        return sentence.text(g.get("language", "es")) if isinstance(sentence, Problem) else str(sentence)

    estate = rows(db(), "SELECT name FROM estate")
    endpoint = request.endpoint or ""
    return {
        "say": words, "text": text, "may": may, "lang": g.get("language", "es"), "person": g.get("person"),
        "estate_name": estate[0]["name"] if estate else "", "this_week": clock.of(db()).week(), "today": clock.of(db()).today(),
        "main_nav": _navigation(MAIN), "more_nav": _navigation(MORE), "endpoint": endpoint, "room": endpoint.split(".")[0],
        "html_lang": "es-MX" if g.get("language", "es") == "es" else "en", "svg": Markup,
        "other_language": _other_language, "choice": _choice, "choices_of": _choices_of, "moment": moment, "local_day": local_day, "kind_name": _kind_name, "setting_words": _setting_words, "known": known,
    }


def _choice(kind: str, name: str, value: Any) -> str:
    """A recorded choice in words, from the field dictionary."""
    return dictionary.choice_label(kind, name, value, g.get("language", "es"))


def _choices_of(kind: str, name: str) -> dict[str, str]:
    """What may be chosen in a recorded field, code → words; empty where it is no choice."""
    found = next((f for f in dictionary.fields(kind) if f.name == name), None) if kind in dictionary.kinds() else None
    return {code: said[g.get("language", "es")] for code, said in found.choices.items()} if found else {}


def moment(stamp: str | datetime) -> str:
    """A stored moment in words, by the estate's clock: day and hour; as it stands where it is none."""
    try:
        at = stamp if isinstance(stamp, datetime) else datetime.fromisoformat(str(stamp).replace("Z", "+00:00"))
        return format_moment(at.astimezone(clock.of(db()).zone) if at.tzinfo else at, g.get("language", "es"))
    except (ValueError, OverflowError):
        return str(stamp)


def _kind_name(kind: str) -> str:
    return dictionary.kinds()[kind].label[g.get("language", "es")] if kind in dictionary.kinds() else kind


def _setting_words(kind: str, text: str) -> str:
    """A setting's unit or source in the request's language ("" stays "")."""
    return words(words_code(kind, text)) if text else ""


def _other_language() -> str:
    """This page's address in the other language (the choice is then kept in a cookie)."""
    from urllib.parse import urlencode

    args = {**request.args.to_dict(), "lang": "en" if g.get("language") == "es" else "es"}
    return f"{request.path}?{urlencode(args)}"


def _navigation(entries: tuple) -> list[dict]:
    from flask import current_app, url_for

    shown = []
    for name, endpoint in entries:
        need = permissions.ROUTES.get(endpoint)
        if endpoint in current_app.view_functions and need and (need == "open" or may(need)):
            shown.append({"name": name, "href": url_for(endpoint), "here": (request.endpoint or "").split(".")[0] == endpoint.split(".")[0]})
    return shown


def _signed(value: Any, digits: int) -> str:
    """A number with a true minus sign; a dash for what is not known; never a minus zero."""
    if value is None or value != value:
        return "–"
    text = f"{value:,.{digits}f}"
    return text.lstrip("-") if float(text.replace(",", "")) == 0 else text.replace("-", "−")


def n0(value: Any) -> str:
    return _signed(value, 0)


def n1(value: Any) -> str:
    return _signed(value, 1)


def n2(value: Any) -> str:
    return _signed(value, 2)


def pct(value: Any, digits: int = 0) -> str:
    """A share 0…1 as per cent, with the no-break space of both languages' typography."""
    return "–" if value is None or value != value else f"{100 * value:,.{digits}f} %".replace("-", "−")


def share(value: Any, limits: tuple[float, ...] = ()) -> str:
    """A ripe share 0…1 beside its word: never rounded across one of the ``limits`` the word went by."""
    return "–" if value is None or value != value else format_share(value, limits).replace("\u00a0", " ")


def chance(value: Any) -> str:
    """A probability 0…1: never all and never nothing."""
    return "–" if value is None or value != value else format_chance(value).replace("\u00a0", " ")


def day(value: date | str | None) -> str:
    return format_day(local_day(value), g.get("language", "es")) if value else "–"


def short_day(value: date | str | None) -> str:
    return format_day(local_day(value), g.get("language", "es"), "short") if value else "–"


def local_day(value: date | str) -> date | str:
    """The estate's own day of a stored moment (what was made at eight in the evening is UTC's tomorrow); a plain date as it is."""
    if not isinstance(value, str) or "T" not in value:
        return value
    at = datetime.fromisoformat(value.replace("Z", "+00:00"))
    return at.astimezone(clock.of(db()).zone).date() if at.tzinfo else at.date()


def weekday(value: date | str) -> str:
    """Monday to Sunday beside the date, short: what an order on paper needs."""
    from babel.dates import format_date

    value = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    return format_date(value, "EEE d MMM", locale=LOCALES[g.get("language", "es")])


def weeks_whole(text: Any) -> Markup:
    """Words in which no line breaks within a week's code (``2027-W43``)."""
    return Markup(WEEK.sub(r'<span class="week">\g<0></span>', str(escape(text))))


def short_week(value: str | None) -> str:
    return value[5:] if value else "–"
