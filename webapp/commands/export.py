"""The estate's answers as files, on the command line."""

from __future__ import annotations

from pathlib import Path

import click

from ..cli import Edge
from ..crop import service, tables


@click.command("export")
@click.option("--format", "kind", type=click.Choice(["csv", "json"]), default="csv", show_default=True)
@click.option("--weeks", default=26, show_default=True, type=click.IntRange(1, 105))
@click.option("--plot", default=None)
@click.argument("target", type=click.Path(path_type=Path, dir_okay=False))
@click.pass_obj
def export_command(edge: Edge, kind: str, weeks: int, plot: str | None, target: Path) -> None:
    """Madurez y toneladas por tabla y semana / ripeness and tonnes by plot and week."""
    data, _, _ = tables.as_file(service.rows(edge.open(), weeks, plot), kind)
    target.write_bytes(data)
    edge.say("land.exported", path=target)
