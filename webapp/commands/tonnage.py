"""Plants, piñas and tonnes by plot, on the command line."""

from __future__ import annotations

import click

from ..cli import Edge
from ..crop import service as crop
from ..problems import Problem
from ..tonnage import service
from ..work import estimates


@click.command("tonnage")
@click.option("--plot", default=None)
@click.option("--week", default=None, help="2027-W10")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def tonnage_command(edge: Edge, plot: str | None, week: str | None, as_json: bool) -> None:
    """Plantas y toneladas / plants and tonnes."""
    db = edge.open()
    # tonnes are the crop's, the mean of its joint draws, as on every page and in the plan: it adds up over plots, and lies above the median where little is known
    said = crop.answer(db)
    if crop.stale(said, db) or service.stale(service.answer(db), db):
        if said.meta["plots"]:
            click.echo(edge.words("commands.stale"), err=True)
        else:
            estimates(db)
            said = crop.answer(db)
    found = crop.basis(db, said)[1]
    weeks, a, mass = found.meta["weeks"], found.arrays, said.arrays
    place = {code: i for i, code in enumerate(said.meta["plots"])}
    week = week or weeks[0]
    if week not in weeks:
        raise Problem("week_outside", where=week, first=weeks[0], last=weeks[-1])
    if plot and plot not in found.meta["plots"]:
        raise Problem("plot_not_standing", where=plot, status=404)
    at = weeks.index(week)
    rows = [{"plot": code, "week": week, "mass_t": float(mass["tonnes"][place[code], at]), "mass_low80_t": float(mass["tonnes_lo"][place[code], at]), "mass_high80_t": float(mass["tonnes_hi"][place[code], at]),
             "pina_kg": float(a["pina_kg"][i, at]), **found.meta["by_plot"][code]} for i, code in enumerate(found.meta["plots"]) if plot in (None, code) and code in place]
    taught = {row["plot"]: service.learned(db, row["plot"], found) for row in rows}
    estate = service.learned(db, None, found)
    told = lambda one: one and {name: value.text(edge.language) if name == "sentence" else value for name, value in one.items()}  # noqa: E731
    if as_json:
        return edge.answer({"key": found.key, "mortality_per_year": found.meta["mortality_per_year"], "learned": told(estate), "plots": [row | {"learned": told(taught[row["plot"]])} for row in rows]})
    edge.say("tonnage.columns")
    for r in rows:
        p = r["plants"]
        click.echo(f"{r['plot']:<9} {p['value']:9,.0f} ({p['low']:,.0f}–{p['high']:,.0f})   {r['pina_kg']:6.1f}   {r['mass_t']:8,.0f} ({r['mass_low80_t']:,.0f}–{r['mass_high80_t']:,.0f})")
    click.echo((taught[plot] or estate if plot else estate)["sentence"].text(edge.language))
