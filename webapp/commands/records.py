"""Field records from the command line: load files, see and settle what is held, take records out."""

from __future__ import annotations

import csv
import getpass
import json
import sys
from pathlib import Path

import click

from .. import dictionary, valid_json
from ..cli import Edge
from ..sentences import format_moment
from ..survey import service


@click.group("records")
def records_command() -> None:
    """Registros de campo / field records."""


@records_command.command("load")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def load(edge: Edge, files: tuple[Path, ...], as_json: bool) -> None:
    """CSV or JSONL, one atomic step a file; loading one twice doubles nothing."""
    db = edge.open()
    out = []
    with click.progressbar(files, file=sys.stderr, show_pos=True) as bar:
        for path in bar:
            report = service.load_file(db, path.read_bytes(), path.name, getpass.getuser())
            out.append({"file": path.name, "kept": report.kept, "already": report.already, "held": report.held, "notes": [n.text(edge.language) for n in report.notes]})
    service.review(db)
    if as_json:
        return edge.answer(out)
    for row in out:
        click.echo(f"{row['file']}: {edge.words('survey.loaded', kept=row['kept'], already=row['already'], held=row['held'])} {' '.join(row['notes'])}")


@records_command.command("held")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def held(edge: Edge, as_json: bool) -> None:
    db = edge.open()
    found = [*service.held(db), *service.doubts(db)]
    if as_json:
        return edge.answer([{**h, "what": h["what"].text(edge.language), "do": h["do"].text(edge.language)} for h in found])
    for h in found:
        of = f"{h['plot_name'] or '–'}, {_kind(h['kind'], edge.language)}: " if "labels" in h else ""  # a doubt names its plot and its proposal itself
        click.echo(f"{h['id']}  {of}{h['what'].text(edge.language)} {h['do'].text(edge.language)}{_proposed(h, edge.language)}")


def _kind(kind: str, language: str) -> str:
    return dictionary.kinds()[kind].label[language] if kind in dictionary.kinds() else kind or "–"


def _proposed(h: dict, language: str) -> str:
    """What a held record's fields should be, under their names for people."""
    if not h["proposal"] or "labels" not in h:
        return ""
    values = {name: format_moment(value, language) if name == "taken_at" else value for name, value in h["proposal"].items()}
    return "  → " + ", ".join(f"{h['labels'][name].text(language)} = {value}" for name, value in values.items())


@records_command.command("mend")
@click.argument("record")
@click.argument("changes", nargs=-1)
@click.option("--alike", is_flag=True, help="Lo propuesto, también a los demás del mismo muestreo / the proposal, for its whole round.")
@click.pass_obj
def mend(edge: Edge, record: str, changes: tuple[str, ...], alike: bool) -> None:
    """RECORD campo=valor … / field=value …: use a held record with these fields changed."""
    if bool(changes) == alike or not all("=" in change for change in changes):
        raise click.UsageError("RECORD field=value … | RECORD --alike")
    if alike:
        edge.say("survey.mended_alike", n=service.mend_alike(edge.open(), record, getpass.getuser()))
        return
    service.mend(edge.open(), record, dict(change.split("=", 1) for change in changes), getpass.getuser())
    edge.say("survey.settled")


@records_command.command("accept")
@click.argument("record")
@click.pass_obj
def accept(edge: Edge, record: str) -> None:
    """Usar como llegó / use a held record as it came."""
    service.accept(edge.open(), record, getpass.getuser())
    edge.say("survey.settled")


@records_command.command("set-aside")
@click.argument("record")
@click.argument("why")
@click.pass_obj
def set_aside(edge: Edge, record: str, why: str) -> None:
    service.set_aside(edge.open(), record, getpass.getuser(), why)
    edge.say("survey.settled")


@records_command.command("export")
@click.option("--kind", required=True, type=click.Choice(list(dictionary.kinds())))
@click.option("--format", "form", type=click.Choice(["csv", "jsonl"]), default="csv", show_default=True)
@click.option("--computed", is_flag=True, help="Con lo calculado, p. ej. °Brix a 20 °C / with what is computed, e.g. °Brix at 20 °C.")
@click.pass_obj
def export(edge: Edge, kind: str, form: str, computed: bool) -> None:
    """Lo que cuenta de un tipo / records in force of one kind, on standard output; without --computed the file loads again."""
    db = edge.open()
    if computed:
        frame = service.table(db, kind)
        headings, rows = list(frame.columns), frame.astype(object).where(frame.notna(), None).to_dict("records")
    else:
        headings, rows = service.export(db, kind)
    if form == "jsonl":
        for row in rows:
            noted = {name: value for name, value in row.items() if value is not None}
            click.echo(valid_json.text(noted if computed else service.as_record(noted)))
        return
    writer = csv.DictWriter(sys.stdout, fieldnames=headings, lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: json.dumps(value) if isinstance(value, dict) else value for name, value in row.items()} for row in rows)


@records_command.command("dictionary")
@click.pass_obj
def show_dictionary(edge: Edge) -> None:
    """The manual of every recorded field."""
    click.echo(dictionary.manual(edge.language))
