"""How every number is made: the model in symbols, its limits and sources, the constants, and every field that is recorded (the manual)."""

from __future__ import annotations

from flask import Blueprint, g
from markupsafe import Markup

from .. import dictionary
from ..config import words_code
from ..sentences import known
from .formulas import mathml, prose
from .layout import render, words
from .method_sections import SECTIONS, numbers
from .settings_known import constants_of

bp = Blueprint("method", __name__)


@bp.get("/method")
def page() -> str:
    values = numbers()
    sections = [(name, words(f"pages.method.{name}_h"), [_item(item, values) for item in items]) for name, items in SECTIONS]
    return render("method.html", title=words("pages.method.title"), sections=sections, constants=constants_of(), fields=_fields())


def _item(item: tuple, values: dict) -> tuple:
    """The item with its words said and its formula drawn."""
    kind, what = item
    if kind == "say":
        return kind, Markup(prose(words(f"pages.method.{what}", **values)))
    if kind == "list":
        return kind, [Markup(prose(words(f"pages.method.{code}", **values))) for code in what]
    if kind == "terms":
        return kind, [(Markup(mathml(symbol)), words(f"pages.method.{code}")) for symbol, code in what]
    return kind, Markup(mathml(what))


def _fields() -> list[tuple[str, str, list[dict]]]:
    """(kind in words, what it is, its fields) in the order of the dictionary."""
    language, out = g.get("language", "es"), []
    for kind in dictionary.kinds().values():
        rows = [{"name": f.name, "label": f.label[language], "help": f.help[language], "unit": words(words_code("unit", f.unit)) if f.unit and known(words_code("unit", f.unit)) else f.unit,
                 "required": f.required, "limits": _range(f.low, f.high), "usual": _range(f.usual_low, f.usual_high),
                 "choices": [choice[language] for choice in f.choices.values()]} for f in kind.fields]
        out.append((kind.label[language], kind.help[language], rows))
    return out


def _range(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return ""
    if high is None:
        return words("pages.method.field_from", low=f"{low:g}")
    return words("pages.method.field_upto", high=f"{high:g}") if low is None else words("pages.method.field_range", low=f"{low:g}", high=f"{high:g}")
