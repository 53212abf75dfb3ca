"""The effect of proposed settings on plots, tonnes and phones before anyone saves them: a dry run by the same code, nothing stored."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from .. import settings
from ..answers import Answer
from ..config import SETTINGS
from ..database import Database
from ..ripeness import proposed_service as proposing
from ..ripeness import service as ripeness
from ..ripeness.readiness import ripe_and_maybe, words_of
from ..settings import Settings
from ..survey import sampling
from ..survey import service as survey
from ..tonnage import service as tonnage
from . import service
from .effect import WEEKS, Moved, Side, moved, totals

SUGAR = ("art_per_brix", "art_per_brix_sd")
TONNAGE = (*(s.name for s in SETTINGS if s.group == "tonnage" and s.name not in SUGAR), "planting_density_ha", "peak_age_months", "loss_per_month")
SAMPLING = ("enough_narrowing_deg", "enough_rows_share")
FIT_AT_ONCE_PLOTS, DRAWN_PLOTS = 400, 1000
"""Up to so many plots a trial fit is made without asking (a few seconds), and tonnes are drawn jointly with their intervals."""


@dataclass(frozen=True)
class Effect:
    """``fit`` says how what is part of the fit was treated: "" (nothing is), "made", "left" (asks for a trial fit first); ``seconds`` it all took."""

    weeks: list[str]
    plots: list[str]
    now: Side
    then: Side
    moved: list[Moved]
    fit: str
    drawn: bool
    seconds: float


def bears_on_crop(names: set[str]) -> bool:
    """Whether any of these settings moves what is said of plots and tonnes."""
    return bool(names & {*ripeness.Limits.__dataclass_fields__, *proposing.IN_THE_FIT, *TONNAGE, *SUGAR})


def effect(db: Database, proposed: Settings, trial_fit: bool = False) -> Effect:
    """Both sides under one fit and the same draws of chance, so that whatever differs comes from the settings.

    What is part of the fit (the age of the peak, …) needs a trial fit: made at once on an estate of up to ``FIT_AT_ONCE_PLOTS`` or when ``trial_fit``; else it is left out and said so.
    """
    began, current = time.monotonic(), settings.load(db)
    stored, masses = ripeness.answer(db), tonnage.answer(db)
    drawn, fit = len(stored.meta["plots"]) <= DRAWN_PLOTS, ""
    was, becomes = proposing.closed_form(db, current), proposing.closed_form(db, proposed)
    if proposing.needs_fit(current, proposed):
        fit = "made" if trial_fit or len(stored.meta["plots"]) <= FIT_AT_ONCE_PLOTS else "left"
    if fit == "made":
        was = proposing.by_fit(db, current) if ripeness.stale(stored, db) else was
        becomes = proposing.by_fit(db, proposed)
    heavy, heavier = masses, masses
    if any(current[name] != proposed[name] for name in TONNAGE):
        heavy = _weighed(db, current) if tonnage.stale(masses, db) else masses
        heavier = _weighed(db, proposed)
    if becomes.meta["plots"] != heavier.meta["plots"] or was.meta["plots"] != heavy.meta["plots"]:  # land moved on between two answers: all anew
        was, becomes = proposing.by_fit(db, current), proposing.by_fit(db, proposed)
        heavy, heavier = _weighed(db, current), _weighed(db, proposed)
    said = service.answer(db) if was is stored and heavy is masses and not ripeness.stale(stored, db) else None
    now = _side(db, was, heavy, current, drawn, said if said is not None and not service.stale(said, db) else None)
    then = _side(db, becomes, heavier, proposed, drawn)
    plots = list(was.meta["plots"])
    return Effect(was.meta["weeks"][:WEEKS], plots, now, then, moved(plots, now, then), fit, drawn, time.monotonic() - began)


def _weighed(db: Database, s: Settings) -> Answer:
    with settings.pretended(db, s):
        return Answer(tonnage.STAGE, "", "", *tonnage.reckon(db, s))


def _side(db: Database, ripe: Answer, tonnes: Answer, s: Settings, drawn: bool, said: Answer | None = None) -> Side:
    """One side's figures; from the stored crop where it ``said`` them already."""
    share, mass = ripe.arrays["share"][:, :WEEKS], tonnage.expected_t(tonnes)[:, :WEEKS]
    low = high = sugar = None
    if drawn and said is not None:
        ripe_t, low, high, sugar, mass_t = (said.arrays[name][:WEEKS].astype(float) for name in ("ripe_total", "ripe_total_lo", "ripe_total_hi", "sugar_total", "mass_total"))
    elif drawn and len(share):
        with settings.pretended(db, s):
            draws = service.proposed(db, ripe, tonnes, s)
        whole, parts = draws.mass_t[:, :, :WEEKS], draws.share[:, :, :WEEKS]
        ripe_t, low, high = totals(whole * parts)
        sugar = totals(whole * parts * draws.art[:, :, :WEEKS])[0]
        mass_t = totals(whole)[0]
    else:  # a region: the sums of the means, without their joint intervals
        mass_t, ripe_t = mass.sum(axis=0), (mass * ripe.arrays["share_expected"][:, :WEEKS].astype(float)).sum(axis=0)
    read = np.array([ripe.meta["by_plot"][code]["n_visits"] > 0 for code in ripe.meta["plots"]], bool)
    return Side(ripe_and_maybe(share, read, s["ripe_share_to_cut"])[0].sum(axis=0), ripe_t, low, high, sugar, mass_t, words_of(ripe.arrays["condition"][:, 0], read), {code: ripe.meta["by_plot"][code]["window"] for code in ripe.meta["plots"]})


def asked_of_phones(db: Database, proposed: Settings) -> dict[str, tuple[float, float]]:
    """What a sampler is asked for, before and after, on the median plot: ``plants`` of a visit, ``rows`` of a count (where rows were counted)."""
    current, out = settings.load(db), {}
    for name, found in (("plants", (proposing.plants_asked(db, current), proposing.plants_asked(db, proposed))), ("rows", (_rows_asked(db, current), _rows_asked(db, proposed)))):
        if len(found[0]):
            out[name] = tuple(float(np.median(side)) for side in found)
    return out


def _rows_asked(db: Database, s: Settings) -> np.ndarray:
    """Rows to count in all, of plots with two whole rows or more counted, by those rows' own spread."""
    counts, out = survey.row_counts(db), []
    whole = counts[counts["plants_standing"].notna() & ~(counts["part_of_row"] < 1)]
    for _, rows in whole.groupby("plot"):
        if len(rows) > 1:
            in_plot = rows["rows_in_plot"].max()
            stand = sampling.rows_stand(rows["plants_standing"].astype(float).tolist(), int(in_plot) if in_plot == in_plot and in_plot else None, s["enough_rows_share"])
            out.append(len(rows) + stand.more)
    return np.array(out, float)
