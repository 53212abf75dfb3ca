"""Codes and parameters in, words in both languages out.

One catalogue serves server, phone and command line: ``translations/<language>/<room>.po``, read at
start with Babel, nothing compiled. A message's ``msgid`` is a dotted code (``land.finding.overlap``);
``msgid_plural`` with parameter ``n`` picks singular or plural. Placeholders are those of
``str.format`` plus a few of our own: ``{day:date}`` (8 de febrero de 2027), ``{day:short}`` (8 feb), ``{at:moment}`` (8 de febrero de 2027, 09:12),
``{items:list}`` (a, b y c), ``{days:count.days}`` (1 día, 30 días; for counts beside ``n``), ``{p:chance}`` (54 %, > 99 %). ``None`` and NaN print as a dash, never as a word of the machine.
"""

from __future__ import annotations

import math
import string
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

LANGUAGES = ("es", "en")
LOCALES = {"es": "es_MX", "en": "en_US"}
FOLDER = Path(__file__).parent / "translations"


class _Words(string.Formatter):
    def __init__(self, language: str) -> None:
        self.language = language

    def convert_field(self, value: Any, conversion: str | None) -> Any:
        return super().convert_field(value, conversion)

    def format_field(self, value: Any, spec: str) -> str:
        if isinstance(value, dict) and "code" in value:  # a sentence as stores keep it
            value = Sentence(value["code"], value.get("params", {}))
        if isinstance(value, Sentence):
            return value.text(self.language)
        if value is None or (isinstance(value, float) and math.isnan(value)):
            return "–"
        if spec.startswith("count."):
            return counted(spec, value, self.language)
        if spec == "moment":
            return format_moment(value, self.language)
        if spec == "chance":
            return format_chance(value)
        if spec in ("date", "short"):
            return format_day(value, self.language, spec)
        if spec == "list":
            from babel.lists import format_list

            return format_list([self.format_field(v, "") for v in value], locale=LOCALES[self.language])
        words = super().format_field(value, spec)
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            words = words.replace("-", "−")  # a true minus, as wide as the plus
            if spec.endswith("%"):
                words = words[:-1] + "\u00a0%"  # both languages set it apart on these pages
        return words


def format_day(value: date | datetime | str, language: str, style: str = "date") -> str:
    """A date in words: ``date`` long, ``short`` day and month."""
    if isinstance(value, str):
        value = date.fromisoformat(value[:10])
    return _day(value.date() if isinstance(value, datetime) else value, language, style)


def counted(code: str, value: Any, language: str) -> str:
    """A count with its noun in the number that goes with it; beside ``n`` a sentence may hold others. What is written already stays as it is written."""
    shown = value if isinstance(value, str) else f"{round(value):,}"
    words = catalogue(language)[code]
    return words[0 if shown == "1" else -1].format(n=shown)


def format_chance(value: float) -> str:
    """A probability 0…1 as per cent; nothing is sure, so what would be rounded to none or all of the futures is told as less, or more, than one in a hundred."""
    return "> 99\u00a0%" if value >= 0.995 else "< 1\u00a0%" if value < 0.005 else f"{100 * value:.0f}\u00a0%"


def format_share(value: float, limits: tuple[float, ...] = ()) -> str:
    """A share 0…1 as per cent; with more digits where rounding would carry it across one of the ``limits`` that words go by (49.9 %, not 50 %)."""
    for digits in range(5):
        shown = round(float(value), 2 + digits)
        if all((shown >= limit) == (value >= limit) for limit in limits):
            break
    return f"{100 * value:.{digits}f}\u00a0%"


def format_moment(value: datetime | str, language: str) -> str:
    """A day in words and the hour, as the moment's own zone shows it: whoever says it has put it into the estate's."""
    at = datetime.fromisoformat(value) if isinstance(value, str) else value
    return f"{_day(at.date(), language, 'date')}, {at:%H:%M}"


@lru_cache(maxsize=8192)
def _day(value: date, language: str, style: str) -> str:
    """Kept: a list of thousands names the same days over and over, and finding a pattern's parts is slow."""
    from babel.dates import format_date

    pattern = "long" if style == "date" else ("d MMM" if language == "es" else "MMM d")
    return format_date(value, format=pattern, locale=LOCALES[language])


@lru_cache(maxsize=None)
def catalogue(language: str) -> dict[str, str | tuple[str, ...]]:
    """All messages of a language; a code defined in two rooms is refused."""
    from babel.messages.pofile import read_po

    if language not in LANGUAGES:
        raise KeyError(f"no language {language!r}; there are {LANGUAGES}")
    messages: dict[str, str | tuple[str, ...]] = {}
    for path in sorted((FOLDER / language).glob("*.po")):
        with path.open("rb") as file:
            for message in read_po(file, locale=LOCALES[language]):
                if not message.id:
                    continue
                code = message.id[0] if isinstance(message.id, tuple) else message.id
                if code in messages:
                    raise ValueError(f"{path.name}: the sentence {code!r} is already defined in another file")
                messages[code] = message.string
    return messages


def say(code: str, language: str, /, **params: Any) -> str:
    """The sentence ``code`` in ``language``.

    Raises KeyError with the code when the catalogue lacks it: a page with a hole is a defect that
    a test must see, not a blank that a user must guess.
    """
    try:
        words = catalogue(language)[code]
    except KeyError:
        raise KeyError(f"translations/{language} lacks the sentence {code!r}") from None
    if isinstance(words, tuple):
        words = words[0] if params.get("n") == 1 else words[-1]
    return _Words(language).vformat(words, (), params)


def known(code: str, language: str = "es") -> bool:
    """Whether the catalogue holds a code (for lists of codes built from data)."""
    return code in catalogue(language)


@lru_cache(maxsize=None)
def places(code: str, language: str = "es") -> frozenset[str]:
    """Names of the parameters that a sentence speaks of."""
    words = catalogue(language)[code]
    return frozenset(name for text in ([words] if isinstance(words, str) else words) for _, name, _, _ in string.Formatter().parse(text) if name)


@dataclass(frozen=True)
class Sentence:
    """A sentence not yet in any language: what services return and stores keep."""

    code: str
    params: dict[str, Any] = field(default_factory=dict)

    def text(self, language: str) -> str:
        return say(self.code, language, **self.params)

    def as_dict(self) -> dict:
        return {"code": self.code, "params": self.params}
