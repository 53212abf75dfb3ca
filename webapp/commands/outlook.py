"""How much to plant, on the command line."""

from __future__ import annotations

import click

from ..cli import Edge
from ..outlook import service
from ..sentences import say


@click.command("outlook")
@click.option("--json", "as_json", is_flag=True)
@click.option("--make", is_flag=True, help="Rehacer / do it again.")
@click.option("--futures", type=click.IntRange(100, 1000), default=None, help="Futuros / futures (≥ 100).")
@click.pass_obj
def outlook_command(edge: Edge, as_json: bool, make: bool, futures: int | None) -> None:
    """Proyección: toneladas por año contra ventas, y hectáreas a plantar / supply against sales, and hectares to plant."""
    db = edge.open()
    if make or futures:
        found = service.made(db, _bar(edge.language), futures)
    else:
        found = service.answer(db)
    meta = found.meta
    if as_json:
        edge.answer({"key": found.key, "made_at": found.made_at, "stale": service.stale(db, found), **meta})
        return
    for sentence in meta["said"]:
        click.echo(_text(sentence, edge.language))
    click.echo()
    edge.say("outlook.cli.years")
    supply, demand = meta["supply"], meta["demand"]
    for i, year in enumerate(meta["years"]):
        edge.say("outlook.cli.year", year=year, standing=supply["standing_t"][i], planted=supply["to_plant_t"][i], low=supply["lo80_t"][i], high=supply["hi80_t"][i],
                 need=demand["mean_t"][i], need_low=demand["lo80_t"][i], need_high=demand["hi80_t"][i])
    click.echo()
    edge.say("outlook.cli.cases")
    for case in (*meta["cases"], *meta["markets"]):
        edge.say("outlook.cli.case", name=case_name(case, meta, edge.language), area_ha=case["area_ha"], short=100 * case["short_chance"], glut=100 * case["glut_chance"])
    click.echo()
    edge.say("outlook.cli.rules")
    for rule in meta["rules"]:
        edge.say("outlook.cli.rule", name=edge.words(f"outlook.rule.{rule['rule']}"), area_ha=rule["area_ha"], short=100 * rule["short_chance"], glut=100 * rule["glut_chance"],
                 million=-rule["regret_mxn"] / 1e6 or 0.0)
    if service.stale(db, found):
        click.echo()
        edge.say("outlook.cli.stale")


def case_name(case: dict, meta: dict, language: str) -> str:
    """A case in words: the norm's three, a market that stops, or the user's own name."""
    if case in meta["markets"]:
        return say("outlook.case.stopped", language, market=case["case"])
    if case["case"] in ("trend", "grow", "flat", "fall"):
        return say(f"outlook.case.{case['case']}", language, percent=100 * abs(case["per_year"] or 0))
    return case["case"]


def _text(sentence: dict, language: str) -> str:
    return say(sentence["code"], language, **sentence["params"])


def _bar(language: str):
    """A progress bar on stderr, so that --json stays clean."""
    def progress(done: float, code: str) -> bool:
        click.echo(f"\r{say(code, language):<44} {100 * done:3.0f} %", nl=done >= 1, err=True)
        return True

    return progress
