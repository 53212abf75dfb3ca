"""The command ``pinario``: one file of ``commands/`` per noun, loaded only when called."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import click

from . import valid_json
from .database import Database, open_estate
from .problems import Problem
from .sentences import LANGUAGES, say

COMMANDS = {
    "demo": "estate", "serve": "estate", "init": "estate", "backup": "estate", "restore": "estate", "work": "estate",
    "plots": "plots", "records": "records", "sales": "sales", "people": "people",
    "ripeness": "ripeness", "track": "track", "tonnage": "tonnage", "cutting": "cutting", "outlook": "outlook", "export": "export", "bench": "bench",
}


def language_of(environment: dict[str, str]) -> str:
    """Spanish first; English when the environment's LANG asks for it."""
    return "en" if environment.get("LC_ALL", environment.get("LANG", "")).lower().startswith("en") else "es"


@dataclass
class Edge:
    """What every command shares: the estate's file, the language, and whether to answer in JSON."""

    path: str
    language: str
    as_json: bool = False

    def open(self) -> Database:
        return open_estate(self.path)

    def say(self, code: str, /, **params: Any) -> None:
        click.echo(say(code, self.language, **params))

    def words(self, code: str, /, **params: Any) -> str:
        return say(code, self.language, **params)

    def answer(self, data: Any) -> None:
        """Print an answer as JSON, units in its keys."""
        click.echo(valid_json.text(data, indent=1))


class Lazy(click.Group):
    def list_commands(self, ctx):
        return list(COMMANDS)

    def get_command(self, ctx, name):
        room = COMMANDS.get(name)
        return getattr(import_module(f"webapp.commands.{room}"), f"{name}_command") if room else None


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--estate", "path", default=lambda: os.environ.get("PINARIO_ESTATE", "estate.db"), help="Archivo del rancho / estate file (PINARIO_ESTATE).")
@click.option("--lang", type=click.Choice(LANGUAGES), default=None, help="es | en (LANG).")
@click.pass_context
def main_group(ctx: click.Context, path: str, lang: str | None) -> None:
    """Piñario: from a reading on a phone to hectares to plant."""
    ctx.obj = Edge(path, lang or language_of(dict(os.environ)))


def main(argv: list[str] | None = None) -> None:
    """Exit status 0 done, 1 refused with a problem on stderr, 2 wrong usage."""
    argv = sys.argv[1:] if argv is None else argv
    language = argv[argv.index("--lang") + 1] if "--lang" in argv[:-1] else language_of(dict(os.environ))
    try:
        try:
            main_group.main(args=argv, standalone_mode=False)
        except BrokenPipeError:  # whoever read our output has seen enough
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(0)
        except OSError as error:  # a target that can't be written, no room for a temporary file
            raise Problem("file_refused", where=str(error.filename or ""), reason=error.strerror or str(error)) from error
    except Problem as problem:
        click.echo(problem.text(language if language in LANGUAGES else "es"), err=True)
        for part in problem.parts:
            click.echo(f"  {part.text(language)}", err=True)
        sys.exit(1)
    except click.exceptions.Exit as leaving:
        sys.exit(leaving.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except click.Abort:
        sys.exit(1)


if __name__ == "__main__":
    main()
