"""Sales on the command line: load a file of sales, stock or purchases; show what is known."""

from __future__ import annotations

from pathlib import Path

import click

from ..cli import Edge
from ..outlook import service
from ..problems import Problem
from ..sentences import known


@click.group("sales")
def sales_command() -> None:
    """Ventas, existencias y agave comprado / sales, stock and agave bought."""


@sales_command.command("load")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def load(edge: Edge, file: Path, as_json: bool) -> None:
    """Load a CSV; its headings tell whether it is sales, stock or purchases."""
    if not file.is_file():
        raise Problem("sales_file_missing", where=str(file), status=404)
    report = service.load_sales(edge.open(), file.read_bytes(), file.name, who="pinario")
    if as_json:
        edge.answer(report.as_dict())
        return
    edge.say("outlook.cli.loaded", kind=edge.words(f"outlook.cli.kind.{report.kind}"), rows=report.rows, new=report.new, changed=report.changed, same=report.same, gone=report.gone)
    for note in report.notes:
        click.echo(note.text(edge.language))


@sales_command.command("show")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def show(edge: Edge, as_json: bool) -> None:
    """Litres by year, category and class."""
    table = service.sales(edge.open())
    if table.empty:
        edge.answer([]) if as_json else edge.say("outlook.cli.no_sales")
        return
    table["year"] = table["month"].str[:4].astype(int)
    years = table.groupby(["year", "category", "class"], sort=True)["litres"].sum().reset_index()
    if as_json:
        edge.answer([{"year": int(r.year), "category": r.category, "class": r[3], "litres": float(r.litres)} for r in years.itertuples()])
        return
    for row in years.to_dict("records"):
        kind = f"outlook.class.{row['class']}"
        edge.say("outlook.cli.sales_year", year=row["year"], category=edge.words(f"outlook.category.{row['category']}"),
                 kind=edge.words(kind) if known(kind) else row["class"], litres=row["litres"])
