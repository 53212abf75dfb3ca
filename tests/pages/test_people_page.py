"""People and phones in the office: codes to type, what a refused form keeps, clocks in words, how to back up."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from click.testing import CliRunner

from webapp import create_app
from webapp.cli import main_group
from webapp.database import atomic, open_estate
from webapp.people import service as people

PASSWORD = "cuatro palabras bien largas"
GROUPS = re.compile(r'<p class="code-large"><code>((?:[2-9A-HJKMNP-Z]{4} ){2}[2-9A-HJKMNP-Z]{4})</code></p>')


@pytest.fixture()
def office(tmp_path):
    """(client of the head and keeper, estate's connection, its path) on an estate whose days run."""
    path = tmp_path / "rancho nuevo.db"
    db = open_estate(path, create=True)
    people.setup(db, "Rancho nuevo", "America/Mexico_City")
    people.add_person(db, "Ana", "ana", PASSWORD, ("head", "keeper"), by="x")
    client = create_app(path, testing=True).test_client()
    client.post("/sign-in", data={"login": "ana", "password": PASSWORD})
    yield client, db, path
    db.conn.close()


def text(reply) -> str:
    return reply.get_data(as_text=True)


def waiting_code(client, device: str) -> str:
    return GROUPS.search(text(client.post(f"/phones/{device}/code")))[1]


def test_the_code_is_shown_in_groups_and_enrols_as_typed(office):
    client, db, _ = office
    shown = text(client.post("/phones/add", data={"name": "Teléfono 1", "crew": "Cuadrilla 1"}))
    first = GROUPS.search(shown)[1]
    assert urlsplit(re.search(r"<code>(http[^<]+)</code>", shown)[1]).fragment == "enrol=" + first.replace(" ", "")
    device = people.devices(db)[0]["id"]
    assert f"/phones/{device}/code" in text(client.get("/people"))
    second = waiting_code(client, device)
    phone = client.application.test_client()
    assert phone.post("/field/enrol", json={"code": first}).status_code == 403
    assert phone.post("/field/enrol", json={"code": second.lower()}).status_code == 200
    assert f"/phones/{device}/code" not in text(client.get("/people"))
    again = client.post(f"/phones/{device}/code")
    assert again.status_code == 409 and "ya no espera código" in text(again)


def test_only_who_manages_phones_makes_codes(office):
    client, db, _ = office
    device, _ = people.new_device(db, "Teléfono 1", "", "x")
    people.add_person(db, "Beto", "beto", PASSWORD, ("planner",), by="x")
    other = client.application.test_client()
    other.post("/sign-in", data={"login": "beto", "password": PASSWORD})
    assert other.post(f"/phones/{device}/code").status_code == 403
    assert client.application.test_client().post(f"/phones/{device}/code").status_code in (302, 303, 401)


def test_a_refused_person_keeps_what_was_typed_but_not_the_password(office):
    client, db, _ = office
    reply = client.post("/people/add", data={"name": "Otra Ana", "login": "ana", "password": "otra clave muy larga", "role": ["planner", "crew"]})
    page = text(reply)
    form = page[page.index('action="/people/add"'):]
    assert reply.status_code == 409 and "Ese usuario ya existe" in page
    assert 'name="name" required value="Otra Ana"' in form and 'value="ana"' in form
    assert set(re.findall(r'name="role" value="(\w+)" checked', form)) == {"planner", "crew"}
    assert "otra clave muy larga" not in page and 'name="name" required value' not in page[:page.index('action="/people/add"')]
    assert len(people.people(db)) == 1


def test_one_phone_is_one_phone(office):
    client, db, _ = office
    people.enrol(db, people.new_device(db, "Teléfono 1", "", "x")[1], "x")
    people.new_device(db, "Teléfono que espera", "", "x")
    assert "<h1>1 persona y 1 teléfono de alta</h1>" in text(client.get("/people"))
    people.enrol(db, people.new_device(db, "Teléfono 2", "", "x")[1], "x")
    assert "<h1>1 person and 2 phones enrolled</h1>" in text(client.get("/people?lang=en"))


@pytest.mark.parametrize("off_s, said", [(90, None), (300, "5 minutos"), (-3 * 3600, "3 horas"), (4320 * 60, "3 días")])
def test_a_clock_that_is_off_is_said_in_the_largest_unit(office, off_s, said):
    client, db, _ = office
    device, _ = people.new_device(db, "Teléfono 1", "", "x")
    with atomic(db):
        db["install"].insert({"id": "0" * 32, "sender": device, "first_at": "2026-01-01T00:00:00Z", "last_at": "2026-01-01T00:00:00Z", "clock_error_s": float(off_s)})
    page = text(client.get("/people"))
    assert (f"su reloj va mal por {said}" in page) if said else "su reloj" not in page
    with atomic(db):
        db.execute("UPDATE estate SET frozen_today = '2026-11-23'")
    assert "su reloj" not in text(client.get("/people")), "on a frozen day every clock would seem wrong"


def test_backup_and_restore_as_the_page_says(office, tmp_path, monkeypatch):
    """The commands that the page shows are run as they stand; restore says what to start next."""
    import shlex

    client, _, path = office
    shown = re.findall(r"<code>(pinario [^<]+)</code>", text(client.get("/people")).replace("&#39;", "'"))
    commands = [shlex.split(line)[1:] for line in shown]
    assert [words[2] for words in commands] == ["backup", "restore", "serve"] and commands[0][1] == str(path)
    monkeypatch.chdir(tmp_path)
    for words in commands[:2]:
        done = CliRunner().invoke(main_group, words, catch_exceptions=False)
        assert done.exit_code == 0, done.output
    assert shlex.join(["pinario", *commands[2]]) in done.output
    assert people.people(open_estate(tmp_path / "restaurado.db"))[0]["login"] == "ana"
    assert "pinario --estate" not in text(_planner(client).get("/people"))


def _planner(client):
    other = client.application.test_client()
    db = open_estate(client.application.config["ESTATE"])
    people.add_person(db, "Beto", "beto", PASSWORD, ("planner",), by="x")
    db.conn.close()
    other.post("/sign-in", data={"login": "beto", "password": PASSWORD})
    return other
