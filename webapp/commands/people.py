"""People and phones from the command line."""

from __future__ import annotations

import getpass

import click

from .. import settings
from ..cli import Edge
from ..people import devices, permissions, service
from ..problems import Problem


@click.group("people")
def people_command() -> None:
    """Personas y teléfonos / people and phones."""


@people_command.command("list")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def list_people(edge: Edge, as_json: bool) -> None:
    found = service.people(edge.open())
    if as_json:
        return edge.answer(found)
    for p in found:
        click.echo(f"{p['login']:<16} {p['name']:<28} {', '.join(edge.words('role.' + r) for r in p['roles'])}{'' if p['active'] else ' ×'}")


@people_command.command("add")
@click.argument("login")
@click.option("--name", required=True)
@click.option("--role", "roles", multiple=True, required=True, type=click.Choice(permissions.ROLES))
@click.password_option()
@click.pass_obj
def add(edge: Edge, login: str, name: str, roles: tuple[str, ...], password: str) -> None:
    service.add_person(edge.open(), name, login, password, roles, by=getpass.getuser())
    edge.say("commands.people.added", name=name, login=login)


def _id(db, login: str) -> int:
    for person in service.people(db):
        if person["login"] == login.lower():
            return person["id"]
    raise Problem("person_unknown", where=login, status=404)


@people_command.command("roles")
@click.argument("login")
@click.option("--role", "roles", multiple=True, required=True, type=click.Choice(permissions.ROLES))
@click.pass_obj
def roles(edge: Edge, login: str, roles: tuple[str, ...]) -> None:
    db = edge.open()
    service.set_roles(db, _id(db, login), roles, getpass.getuser())
    edge.say("commands.people.done")


@people_command.command("password")
@click.argument("login")
@click.password_option()
@click.pass_obj
def password(edge: Edge, login: str, password: str) -> None:
    db = edge.open()
    service.set_password(db, _id(db, login), password, getpass.getuser())
    edge.say("commands.people.done")


@people_command.command("deactivate")
@click.argument("login")
@click.pass_obj
def deactivate(edge: Edge, login: str) -> None:
    db = edge.open()
    service.set_active(db, _id(db, login), False, getpass.getuser())
    edge.say("commands.people.done")


@people_command.command("owner-link")
@click.pass_obj
def owner_link(edge: Edge) -> None:
    edge.say("commands.people.owner", link=f"/owner/{service.owner_link(edge.open())}")


@people_command.command("phones")
@click.option("--json", "as_json", is_flag=True)
@click.pass_obj
def phones(edge: Edge, as_json: bool) -> None:
    found = service.devices(edge.open())
    if as_json:
        return edge.answer(found)
    for d in found:
        click.echo(f"{d['id']}  {d['name']:<24} {d['crew']:<16} {(d['last_seen'] or '–')[:16]}{' ×' if d['revoked_at'] else ''}")


@people_command.command("enrol")
@click.argument("name")
@click.option("--crew", default="")
@click.pass_obj
def enrol(edge: Edge, name: str, crew: str) -> None:
    """Print a one-time code and its QR for a phone."""
    import segno

    db = edge.open()
    _, code = service.new_device(db, name, crew, getpass.getuser())
    address = settings.load(db)["public_address"].rstrip("/")
    edge.say("commands.people.code", name=name, minutes=devices.CODE_MINUTES, code=code)
    if address:
        segno.make(f"{address}/field/#enrol={code}", error="m").terminal(compact=True)


@people_command.command("revoke")
@click.argument("device")
@click.pass_obj
def revoke(edge: Edge, device: str) -> None:
    service.revoke_device(edge.open(), device, getpass.getuser())
    edge.say("commands.people.done")
