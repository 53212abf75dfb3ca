"""Plots from the command line: load, list, take out, see what waits."""

from __future__ import annotations

import getpass
from pathlib import Path

import click

from ..cli import Edge
from ..land import service


@click.group("plots")
def plots_command() -> None:
    """Tablas y predios / plots and parcels."""


@plots_command.command("load")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--preview", "only_look", is_flag=True, help="Solo mirar / only look.")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def load(edge: Edge, file: Path, only_look: bool, as_json: bool) -> None:
    db = edge.open()
    found = service.read(file.read_bytes(), file.name)
    done = service.preview(db, found) if only_look else service.load(db, found, getpass.getuser())
    if as_json:
        return edge.answer({"new": done.new, "changed": done.changed, "unchanged": done.unchanged, "waiting": done.waiting, "findings": [f.as_dict() for f in done.findings]})
    edge.say("land.loaded", new=len(done.new), changed=len(done.changed), unchanged=len(done.unchanged), waiting=len(done.waiting))
    for finding in done.findings:
        click.echo(f"  {finding.what.text(edge.language)} {finding.do.text(edge.language)}")


@plots_command.command("list")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def list_plots(edge: Edge, as_json: bool) -> None:
    frame = service.plots(edge.open())
    if as_json:
        return edge.answer(frame.reset_index().astype(object).where(frame.reset_index().notna(), None).to_dict("records"))
    for code, row in frame.iterrows():
        click.echo(f"{code:<8} {row['name']:<22} {row['zone'] or '–':<16} {row['area_ha']:7.2f} ha  {row['planted_on'] or '–'}  {row['status']}")


@plots_command.command("waiting")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def waiting(edge: Edge, as_json: bool) -> None:
    from ..sentences import Sentence

    found = service.waiting(edge.open())
    if as_json:
        return edge.answer(found)
    for w in found:
        click.echo(f"{w['id']:>4} {w['code'] or '–':<8} {w['file']} #{w['feature']}")
        for f in w["findings"]:
            click.echo(f"     {Sentence(**f['what']).text(edge.language)} {Sentence(**f['do']).text(edge.language)}")


@plots_command.command("export")
@click.option("--format", "kind", type=click.Choice(service.FORMATS), default="geojson", show_default=True)
@click.argument("target", type=click.Path(path_type=Path, dir_okay=False))
@click.pass_obj
def export(edge: Edge, kind: str, target: Path) -> None:
    data, _, _ = service.export_plots(edge.open(), kind)
    target.write_bytes(data)
    edge.say("land.exported", path=target)
