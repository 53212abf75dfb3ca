"""What stands beside the settings: the room's constants in words, and what the estate's own data say of what is fitted."""

from __future__ import annotations

from datetime import date, timedelta
from importlib import import_module
from typing import Any

from ..config import words_code
from ..crop import art, tie_service
from ..crop import service as crop
from ..quantity import Belief, Constant
from ..ripeness import proposed_service as proposing
from ..ripeness import service as ripeness
from ..sentences import LOCALES, known
from ..settings import Settings
from ..tonnage import service as tonnage
from .access import db
from .layout import words

ROOMS = {"visits": ("survey",), "ripeness": ("ripeness",), "tonnage": ("tonnage", "crop"), "cutting": ("cutting",), "outlook": ("outlook",)}
"""Group of settings → rooms whose constants stand there."""


def constants_of(group: str | None = None) -> list[dict[str, Any]]:
    """Constants of a group's rooms (of all rooms, in the order the data travels, without one), in the request's language."""
    rooms = ("survey", "ripeness", "tonnage", "crop", "cutting", "outlook") if group is None else ROOMS.get(group, ())
    found = []
    for room in rooms:
        try:
            module = import_module(f"webapp.{room}.constants")
        except ModuleNotFoundError:
            continue
        found += [_shown(room, name, value) for name, value in vars(module).items() if isinstance(value, Constant)]
    return found


def _shown(room: str, name: str, c: Constant) -> dict[str, Any]:
    """A constant in words; what has none yet is shown as the code has it, marked as English."""
    out: dict[str, Any] = {"value": c.value, "uncertainty": c.uncertainty, "status": c.status.replace(" ", "_")}
    for part, code, text in (("name", f"constant.{room}.{name.lower()}", c.name), ("unit", words_code("unit", c.unit), c.unit), ("source", words_code("source", c.source), c.source)):
        out[part], out[f"{part}_lang"] = (words(code), "") if known(code) else (text, "en")
    return out


def beliefs(group: str, values: Settings) -> list[dict[str, Any]]:
    """Rows of what was believed and what the data say now, for groups that hold something fitted."""
    if group == "ripeness":
        found = proposing.beliefs_of(ripeness.answer(db()))
    elif group == "tonnage":
        grown, prior, sd = crop.answer(db()), values["art_per_brix"], values["art_per_brix_sd"]
        slope, narrow, line = grown.meta["art_percent_per_brix"], grown.meta["art_sd"], crop.art_line(db())
        before = art.Line(prior, sd, 0, {})
        found = [*tonnage.beliefs_of(tonnage.answer(db()), values), Belief("art", "% ART per °Bx", prior, prior - Z80 * sd, prior + Z80 * sd, slope, slope - Z80 * narrow, slope + Z80 * narrow, {"n": grown.meta["art_loads"]}),
                 Belief("art_load", "% ART per °Bx", art.LOAD_SD, *before.load_sd_interval(Z80), line.load_sd, *line.load_sd_interval(Z80), {"n": line.n}, "" if line.learned else "few_loads"), *tie_service.beliefs_of(grown)]
    else:
        return []
    return [_belief(b) for b in found]


Z80 = 1.2815515655446004


def _belief(b: Belief) -> dict[str, Any]:
    params = {**b.params, **{name: _month(day) for name, day in b.params.items() if name.endswith("_day")}}
    size = abs(b.prior) or abs(b.prior_high)
    digits = 0 if b.unit == "kg" else 1 if size >= 5 else 2 if size >= 0.1 else 3
    percent = b.unit.startswith("share")
    return {"name": words(f"believed.{b.name}", **params), "unit": words(words_code("unit", b.unit)), "digits": digits, "percent": percent, "note": words(f"believed.note.{b.note}", least=art.LEAST_LOADS) if b.note else "", "prior": (b.prior, b.prior_low, b.prior_high), "now": (b.value, b.low, b.high)}


def _month(day_of_year: int) -> str:
    from babel.dates import format_date
    from flask import g

    return format_date(date(2001, 1, 1) + timedelta(days=int(day_of_year)), "MMMM", locale=LOCALES[g.get("language", "es")])


def said_of(values: Settings) -> dict[str, str]:
    """Setting → what the estate's own data say in its place (the setting is then only where they start from)."""
    masses, grown, out = tonnage.answer(db()), crop.answer(db()), {}
    about = masses.meta["by_plot"].values()
    counted, weighed, loads = sum(p["n_counts"] > 0 for p in about), sum(p["n_weighings"] for p in about), sum(p["n_loads"] for p in about)
    if counted:
        out["annual_mortality"] = words("pages.settings.data_mortality", n=counted, value=masses.meta["mortality_per_year"], half=Z80 * masses.meta["mortality_sd"])
    if weighed or loads:
        corrected = words("pages.settings.data_pina", n=weighed, loads=loads)
        out |= {name: corrected for name in ("pina_asymptote_kg", "pina_shape", "pina_rate_per_year", "pina_log_sd")}
    if grown.meta["art_loads"]:
        out["art_per_brix"] = words("pages.settings.data_art", n=grown.meta["art_loads"], value=grown.meta["art_percent_per_brix"], half=Z80 * grown.meta["art_sd"])
    return out


def figure(values: tuple[float, float | None, float | None], b: dict[str, Any]) -> str:
    """A value with its interval in brackets, in the row's digits."""
    factor, digits, sign = (100, 1, " %") if b["percent"] else (1, b["digits"], "")
    value, low, high = (f"{factor * v:,.{digits}f}".replace("-", "−") if v is not None else "" for v in values)
    return f"{value}{sign}" + (f" ({low} – {high})" if low else "")
