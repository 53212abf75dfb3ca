"""The weekly cutting plan, its orders and its reasons, on the command line."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import click

from ..cli import Edge
from ..cutting import plot_service, service
from ..problems import Problem
from ..sentences import say

JSON = click.option("--json", "as_json", is_flag=True)
PLAN = click.option("--plan", "number", type=int, default=None, help="Número del plan / plan number (latest).")


@click.group("cutting")
def cutting_command() -> None:
    """Plan de jima y órdenes / weekly cutting plan and orders."""


@cutting_command.command("plan")
@click.option("--seconds", type=click.FloatRange(1, 1800), default=None, help="Tiempo para buscar / time to search.")
@click.option("--seed", type=int, default=1, show_default=True)
@click.option("--who", default="", hidden=True)
@JSON
@click.pass_obj
def plan_command(edge: Edge, seconds: float | None, seed: int, who: str, as_json: bool) -> None:
    """Hace un plan nuevo / make a new plan."""
    db = edge.open()
    if as_json:
        made = service.make_plan(db, seconds, seed, who=who)
    else:
        with click.progressbar(length=1000, label=edge.words("cutting.cli.searching"), file=sys.stderr) as bar:
            def tell(done: float, code: str) -> bool:
                bar.update(max(0, int(done * 1000) - bar.pos))
                return True

            made = service.make_plan(db, seconds, seed, tell, who=who)
    _show(edge, db, made, as_json)


@cutting_command.command("show")
@PLAN
@JSON
@click.pass_obj
def show_command(edge: Edge, number: int | None, as_json: bool) -> None:
    """El plan por semana / the plan by week."""
    _show(edge, edge.open(), number, as_json)


def _show(edge: Edge, db, number: int | None, as_json: bool) -> None:
    found = service.plan(db, number)
    if found is None:
        raise Problem("plan_none", status=404)
    if as_json:
        edge.answer(found.as_dict())
        return
    click.echo(found.outcome_said().text(edge.language))
    edge.say("cutting.cli.value", value=found.value_mxn / 1e6, number=found.id, made_at=found.made_at[:16].replace("T", " "))
    for other in found.hand:
        more = found.better_than(other["how"])
        if more is not None:
            edge.say("cutting.cli.hand", name=edge.words(f"cutting.rule.{other['how']}"), value=other["incremental_mxn"] / 1e6, more=100 * more)
    click.echo()
    for week in found.weeks:
        limits = ", ".join(edge.words(f"cutting.limit.{rule}") for rule in week["binds"])
        edge.say("cutting.cli.week" if week["need_t"] > 0 else "cutting.cli.stop", week=week["week"], delivered=week["delivered_t"], low=week["lo80_t"], high=week["hi80_t"],
                 need=week["need_t"], plots=week["plots"], limits=limits)
    if found.gave_way:
        click.echo()
        edge.say("cutting.cli.gave")
        for item in found.gave_way:
            edge.say(f"cutting.gave.{item['rule']}", week=item["week"], plot=item["plot"], by=item["by"])
    if found.stale:
        click.echo()
        edge.say("cutting.cli.stale")


@cutting_command.command("compare")
@click.argument("before", type=int)
@click.argument("after", type=int)
@JSON
@click.pass_obj
def compare_command(edge: Edge, before: int, after: int, as_json: bool) -> None:
    """Qué cambia de un plan a otro / what changes from one plan to another."""
    changes = service.compare(edge.open(), before, after)
    if as_json:
        edge.answer({"changes": changes})
        return
    for item in changes:
        edge.say(f"cutting.change.{item['kind']}", **{k: item[k] for k in ("name", "plot", "from_week", "to_week", "before_t", "after_t")})
    if not changes:
        edge.say("cutting.change.none")


@cutting_command.command("check")
@PLAN
@JSON
@click.pass_obj
def check_command(edge: Edge, number: int | None, as_json: bool) -> None:
    """Revisa cada regla del plan aparte del modelo / verify every rule apart from the model."""
    broken = service.check_stored(edge.open(), number)
    if as_json:
        edge.answer({"broken": broken})
    elif not broken:
        edge.say("cutting.cli.checked")
    for item in [] if as_json else broken:
        edge.say("cutting.cli.broken", **item)
    if broken:
        sys.exit(1)


@cutting_command.command("why")
@click.argument("plot")
@PLAN
@JSON
@click.pass_obj
def why_command(edge: Edge, plot: str, number: int | None, as_json: bool) -> None:
    """Por qué se corta una tabla cuando se corta, o no / why a plot is cut when it is, or not."""
    db = edge.open()
    found = service.explain(db, number, plot, plot_service.shares(db, plot))
    if as_json:
        edge.answer({"plot": plot, "why": [{"code": s.code, "text": s.text(edge.language)} for s in found]})
        return
    for sentence in found:
        click.echo(sentence.text(edge.language))


@cutting_command.command("publish")
@PLAN
@click.option("--weeks", type=click.IntRange(1, 8), default=1, show_default=True)
@click.option("--who", default="", hidden=True)
@click.pass_obj
def publish_command(edge: Edge, number: int | None, weeks: int, who: str) -> None:
    """Publica las órdenes de las primeras semanas / publish the orders of the first weeks."""
    db = edge.open()
    found = service.plan(db, number)
    if found is None:
        raise Problem("plan_none", status=404)
    edge.say("cutting.cli.published", n=len(service.publish(db, found.id, who, weeks)), number=found.id)


@cutting_command.command("orders")
@click.option("--week", default=None, help="2026-W48")
@click.option("--crew", default=None)
@JSON
@click.pass_obj
def orders_command(edge: Edge, week: str | None, crew: str | None, as_json: bool) -> None:
    """Órdenes publicadas, por cuadrilla y día / published orders by crew and day."""
    found = service.orders(edge.open(), week, crew)
    if as_json:
        edge.answer({"orders": found})
        return
    last = None
    for order in found:
        if (order["week"], order["crew"]) != last:
            last = (order["week"], order["crew"])
            edge.say("cutting.cli.crew", crew=order["crew"], week=order["week"])
        trucks = ", ".join(edge.words("cutting.cli.truck", **truck) for truck in order["trucks"])
        edge.say("cutting.cli.order", day=date.fromisoformat(order["day"]), name=order["name"], plot=order["plot"], plants=order["plants"], mass_t=order["mass_t"], trucks=trucks,
                 kind=edge.words(f"cutting.kind.{order['kind']}"), tell=say(order["how_to_tell"]["code"], edge.language, **order["how_to_tell"]["params"]))
    if found:
        click.echo()
        seen = {c["code"]: c for order in found for c in order["cautions"]}
        for caution in seen.values():
            click.echo("· " + say(caution["code"], edge.language, **caution["params"]))
    else:
        edge.say("cutting.cli.no_orders")


@cutting_command.command("crews")
@click.option("--set", "name", default=None, help="Nombre / name.")
@click.option("--people", type=int, default=None)
@click.option("--zone", default=None)
@click.option("--inactive", is_flag=True)
@JSON
@click.pass_obj
def crews_command(edge: Edge, name: str | None, people: int | None, zone: str | None, inactive: bool, as_json: bool) -> None:
    """Cuadrillas: ver, o poner una / crews: list, or set one."""
    db = edge.open()
    if name:
        service.set_crew(db, name, people, zone, not inactive)
    found = service.crews(db)
    if as_json:
        edge.answer({"crews": found})
        return
    for crew in found:
        edge.say("cutting.cli.crew_line", name=crew["name"], people=crew["people"], zone=crew["home_zone"], active=edge.words("cutting.cli.active" if crew["active"] else "cutting.cli.resting"))


@cutting_command.command("calendar")
@PLAN
@click.argument("target", type=click.Path(path_type=Path))
@click.pass_obj
def calendar_command(edge: Edge, number: int | None, target: Path) -> None:
    """El plan como calendario (.ics) / the plan as a calendar."""
    target.write_bytes(service.calendar(edge.open(), number, edge.language))
    edge.say("cutting.cli.calendar", path=target)
