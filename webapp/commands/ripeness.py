"""How ripe each plot is, on the command line."""

from __future__ import annotations

import click
import numpy as np

from .. import settings
from ..cli import Edge
from ..crop import worth_service as worth
from ..database import Database
from ..problems import Problem
from ..ripeness import first_ripe, readiness, service, thin_service, why
from ..sentences import Sentence, format_chance, format_share
from ..work import estimates

CODES = "TECMP"
OF_PLANTS = ("condition", "mean_brix_deg", "low80_brix_deg", "high80_brix_deg", "low95_brix_deg", "high95_brix_deg", "ripe_share", "ripe_share_low80", "ripe_share_high80", "chance_ripe", "first_ripe_low80_week",
             "first_ripe_high80_week", "window", "window_kind")
"""What speaks of plants that stand: null in the weeks before a plot is planted."""


@click.command("ripeness")
@click.option("--week", default=None, help="2027-W10")
@click.option("--plot", default=None)
@click.option("--refit", is_flag=True)
@click.option("--visits", is_flag=True, help="Qué visitar primero / what to visit first.")
@click.option("--from", "start", default=None, help="Con --visits: tabla de la que se sale / plot to start at.")
@click.option("--minutes", type=click.FloatRange(30, 720), default=None, help="Con --visits: de una mañana / of a morning.")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def ripeness_command(edge: Edge, week: str | None, plot: str | None, refit: bool, visits: bool, start: str | None, minutes: float | None, as_json: bool) -> None:
    """Madurez por tabla y semana / ripeness by plot and week."""
    db = edge.open()
    found = service.answer(db)
    old = service.stale(found, db)
    if old and (refit or not found.meta["plots"]):
        estimates(db)
        found, old = service.answer(db), False
    if old:
        click.echo(edge.words("commands.stale"), err=True)
    if visits:
        return _visits(edge, db, start, minutes, as_json)
    weeks = found.meta["weeks"]
    week = week or weeks[0]
    if week not in weeks:
        raise Problem("week_outside", where=week, first=weeks[0], last=weeks[-1])
    if plot and plot not in found.meta["plots"]:
        raise Problem("plot_not_standing", where=plot, status=404)
    at, a = weeks.index(week), found.arrays
    ends = [[None if place == first_ripe.NEVER else weeks[int(place)] for place in side] for side in first_ripe.interval(a["share_lo"], a["share_hi"], service.limits_of(found).ripe_share_to_cut)]
    before = service.unplanted(found)[:, at]
    rows = [{"plot": code, "week": week, "condition": CODES[int(a["condition"][i, at])], "mean_brix_deg": float(a["mean_deg"][i, at]), "low80_brix_deg": float(a["lo80"][i, at]),
             "high80_brix_deg": float(a["hi80"][i, at]), "low95_brix_deg": float(a["lo95"][i, at]), "high95_brix_deg": float(a["hi95"][i, at]), "ripe_share": float(a["share"][i, at]),
             "ripe_share_low80": float(a["share_lo"][i, at]), "ripe_share_high80": float(a["share_hi"][i, at]), "chance_ripe": float(a["chance"][i, at]), "first_ripe_low80_week": ends[0][i], "first_ripe_high80_week": ends[1][i], "planted": not before[i], **found.meta["by_plot"][code]}
            for i, code in enumerate(found.meta["plots"]) if plot in (None, code)]
    rows = [row if row["planted"] else row | dict.fromkeys(OF_PLANTS) | {"why": []} for row in rows]
    if as_json:
        return edge.answer({"key": found.key, "stale": service.stale(found, db), "fit": found.meta["fit"], "plain_curve": found.meta["plain_curve"],
                            "short_of": [short.as_dict() for short in thin_service.told(db, found, plot)] if not plot or rows[0]["planted"] else [], "plots": rows})
    limit = settings.load(db)
    limits = (limit["near_share"], limit["ripe_share_to_cut"])
    later, rows = [r for r in rows if not r["planted"]], [r for r in rows if r["planted"]]
    told_later = lambda: [click.echo(f"{r['plot']:<9} {edge.words('pages.ripeness.to_come')}") for r in later]  # noqa: E731
    if plot and later:
        told_later()
        return
    ripe, maybe = readiness.ripe_and_maybe(np.array([r["ripe_share"] for r in rows]), np.array([r["n_visits"] > 0 for r in rows], bool), limit["ripe_share_to_cut"])
    doubted = any(r.get("n_doubted") and not r["n_visits"] for r in rows)
    edge.say("ripeness.head" if not maybe.any() else "ripeness.head_maybe_doubted" if doubted else "ripeness.head_maybe", ripe=int(ripe.sum()), maybe=int(maybe.sum()), of=len(rows), week=week, target=limit["target_brix_deg"])
    for short in thin_service.told(db, found, plot):
        click.echo(f"· {short.text(edge.language)}")
    edge.say("ripeness.columns")
    for r in sorted(rows, key=lambda r: -r["ripe_share"]):
        said = why.window_short(r.get("window_kind"), r["window"], weeks[0])
        window = said.text(edge.language) if said else " – ".join(w or "…" for w in r["window"]) if r["window"] else "–"
        word = readiness.WORDS[int(readiness.words_of(CODES.index(r["condition"]), r["n_visits"] > 0))]
        click.echo(f"{r['plot']:<9} {edge.words(f'condition.{word}.word'):<15} {r['mean_brix_deg']:5.1f} ({r['low80_brix_deg']:.1f}–{r['high80_brix_deg']:.1f})   "
                   f"{format_share(r['ripe_share'], limits):>6} ({r['ripe_share_low80']:.0%}–{r['ripe_share_high80']:.0%})   {format_chance(r['chance_ripe']):>6}  {window}")
    told_later()
    if found.meta["plain_curve"] and not plot:
        edge.say("ripeness.plain", **found.meta["plain_curve"])
    if plot:
        if rows[0].get("window_kind") in (None, readiness.RIPENS):
            places = [first_ripe.NEVER if rows[0][name] is None else weeks.index(rows[0][name]) for name in ("first_ripe_low80_week", "first_ripe_high80_week")]
            click.echo(f"  {Sentence('pages.plot.head.none', {'ripe': first_ripe.sentence(*places, weeks)}).text(edge.language)}")
        for sentence in rows[0]["why"]:
            click.echo(f"  {Sentence(**sentence).text(edge.language)}")
        if lost := why.window(rows[0].get("window_kind"), rows[0]["window"], weeks[0], service.limits_of(found)):
            click.echo(f"  {lost.text(edge.language)}")


VISITS_LISTED = 20


def _visits(edge: Edge, db: Database, start: str | None, minutes: float | None, as_json: bool) -> None:
    """The morning's round, then the other visits by what they clear up in an hour."""
    found, rows = worth.morning(db, start, minutes), worth.visits_worth_making(db, VISITS_LISTED, start)
    if as_json:
        told = lambda row: {**row, "why": row["why"].text(edge.language)}  # noqa: E731
        return edge.answer({"round": {**found, "stops": [told(stop) for stop in found["stops"]]}, "visits": [told(row) for row in rows]})
    if found["stops"]:
        edge.say("visits.head", n=len(found["stops"]), took=round(found["minutes"]), limit=round(found["limit_minutes"]), part=found["gain_part"])
    edge.say("visits.columns")
    there = {stop["code"] for stop in found["stops"]}
    for n, row in [*enumerate(found["stops"], 1), *((None, row) for row in rows if row["code"] not in there)]:
        shown = row["way_minutes"] + row["work_minutes"] if n else row["minutes"]
        click.echo(f"{n or '':>3}  {row['code']:<9} {edge.words('visits.work.' + row['work']):<16} {shown:4.0f}   {worth.per_hour(row).text(edge.language):<22} {row['why'].text(edge.language)}")
