"""A record's history: one chain on all its pages, a correction undone where it is seen, and the trail that finds it by its plot."""

import json
import re
import shutil

import pytest

from webapp.database import open_estate
from webapp.people import service as people
from webapp.survey import service as survey

from .test_plot_page import SLIPPED, page, sound

WHY, AGAIN = "el refractómetro estaba mal, no el dedo", "vuelve a contar 2.46 °Bx"


@pytest.fixture()
def office(demo_made, tmp_path):
    """(path, estate, client of the head) of a copy of the demo that a test may change."""
    from webapp import create_app

    path = shutil.copy(demo_made, tmp_path / "demo.db")
    app, db = create_app(path, testing=True), open_estate(path)
    client = app.test_client()
    client.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"})
    yield client, db
    db.conn.close()


def corrected(client, db):
    """(the odd reading of the demo, its correction)."""
    odd = survey.readings(db).query("plot == @SLIPPED and brix_raw_deg < 5").iloc[0]["id"]
    assert client.post(f"/records/{odd}/correct", data={"f.brix_raw_deg": "24,6", "was.brix_raw_deg": "2.46"}).status_code == 303
    return odd, next(s["id"] for s in survey.record_history(db, odd) if s["step"] == "replaced")


def history(client, record, language="es"):
    """The page, and its steps as (step, words, whether it counts)."""
    body = client.get(f"/records/{record}?lang={language}").get_data(as_text=True)
    sound(body)
    rows = re.findall(r'<tr( class="us")? data-step="(\w+)">(.*?)</tr>', body, re.S)
    return body, [(step, " ".join(re.sub(r"<details>.*?</details>|<[^>]+>", " ", cells, flags=re.S).split()), bool(us)) for us, step, cells in rows]


def undone(client, correction, **more):
    return client.post(f"/records/{correction}/undo", data={"why": WHY, **more})


def test_the_whole_chain_stands_on_every_page_of_it_with_reason_and_what_counts(office):
    client, db = office
    odd, correction = corrected(client, db)
    assert [(step, us) for step, _, us in history(client, odd)[1]] == [("came", False), ("replaced", True)]
    assert undone(client, correction).headers["Location"].endswith(f"/records/{odd}")
    void = next(s["id"] for s in survey.record_history(db, odd) if s["step"] == "undone")
    told = [history(client, record)[1] for record in (odd, correction, void)]
    assert told[0] == told[1] == told[2]
    assert [(step, us) for step, _, us in told[0]] == [("came", True), ("replaced", False), ("undone", False)]
    assert "°Brix leído: 2.46 °Bx → 24.6 °Bx" in told[0][1][1] and "°Brix leído: 24.6 °Bx → 2.46 °Bx" in told[0][2][1]
    assert WHY in told[0][2][1] and "Aurelia Montes" in told[0][2][1]
    for record in (odd, correction, void):
        assert re.search(r'id="counts"><b>Cuenta ahora: 2\.46 °Bx</b>', history(client, record)[0])
    assert (survey.readings(db)["id"] == odd).sum() == 1 and not (survey.readings(db)["id"] == correction).any()
    assert "Counts now: 2.46 °Bx" in history(client, odd, "en")[0]
    assert client.post(f"/records/{odd}/correct", data={"f.brix_raw_deg": "24,6", "was.brix_raw_deg": "2.46"}).status_code == 303
    assert [(step, us) for step, _, us in history(client, odd)[1]] == [("came", False), ("replaced", False), ("undone", False), ("replaced", True)]


def test_a_void_from_before_reasons_were_kept_has_its_reason_from_the_trail(office):
    client, db = office
    odd, correction = corrected(client, db)
    from webapp.database import atomic
    from webapp.survey import office_service

    with atomic(db):
        office_service.write_void(db, correction, SLIPPED, "Aurelia Montes")
        people.note(db, "Aurelia Montes", "take_out_record", correction, after=WHY)
    assert WHY in history(client, odd)[1][2][1]


def test_a_correction_is_undone_from_any_page_of_its_chain(office):
    client, db = office
    odd, correction = corrected(client, db)
    for record in (odd, correction):
        body, _ = history(client, record)
        assert f'action="/records/{correction}/undo"' in body and f"Deshacer la corrección: {AGAIN}" in body
        assert ("name=\"f.brix_raw_deg\"" in body) == (record == correction)
    assert f'href="/records/{correction}"' in history(client, odd)[0]
    assert "Undo the correction: 2.46 °Bx counts again" in history(client, odd, "en")[0]
    refused = client.post(f"/records/{correction}/undo?lang=es", data={"why": " "})
    assert refused.status_code == 422 and "Falta la razón" in refused.get_data(as_text=True)
    assert client.post(f"/records/{odd}/undo", data={"why": WHY}).status_code == 409, "an original is no correction"
    assert undone(client, correction, back_to=SLIPPED).headers["Location"].endswith(f"/plots/{SLIPPED}#changed")
    assert "/undo" not in history(client, odd)[0] and undone(client, correction).status_code == 409
    note = people.trail(db, odd)[0]
    assert note["act"] == "undo_correction" and json.loads(note["before"]) == {"brix_raw_deg": 24.6} and json.loads(note["after"]) == {"brix_raw_deg": 2.46, "why": WHY}


def test_taking_out_a_corrected_reading_does_not_bring_back_what_it_corrected(office):
    client, db = office
    odd, correction = corrected(client, db)
    assert client.post(f"/records/{correction}/take-out", data={"why": "planta ajena"}).status_code == 303
    body, steps = history(client, odd)
    assert not {odd, correction} & set(survey.readings(db)["id"]) and not any(us for *_, us in steps)
    assert "Nada de esta historia cuenta" in body and "planta ajena" in steps[-1][1]


def test_the_plot_counts_a_correction_and_its_undo_as_one_of_each(office):
    client, db = office
    _, correction = corrected(client, db)
    undone(client, correction)
    told = re.search(r'id="changed">.*?</b>', page(client, SLIPPED), re.S)[0]
    assert "corrigió 1 registro" in told and "Deshizo 1 corrección" in told
    assert "corrected 1 record" in page(client, SLIPPED, "en")
    assert re.search(r'<li class="out">.*?24\.6 °Bx.*?corrección deshecha, no cuenta', page(client, SLIPPED), re.S)


def test_the_trail_finds_a_plots_records_by_code_and_name_in_the_estates_hour(office):
    client, db = office
    odd, correction = corrected(client, db)
    undone(client, correction)
    note = people.trail(db, odd)[0]
    from webapp import clock
    from webapp.land import service as land
    from datetime import datetime

    hour = datetime.fromisoformat(note["at"]).astimezone(clock.of(db).zone).strftime("%H:%M")
    name = land.plots(db)["name"][SLIPPED]
    for asked in (SLIPPED, name, SLIPPED.lower(), f"{name}, {SLIPPED}", odd):
        body = client.get("/trail", query_string={"subject": asked, "lang": "es"}).get_data(as_text=True)
        sound(body)
        table = re.search(r'<table class="stack" id="trail">.*?</table>', body, re.S)[0]
        assert "corrigió un registro" in table and "deshizo una corrección" in table, asked
        assert f", {hour}</th>" in table and "T" not in re.search(r'<th scope="row">(.*?)</th>', table)[1]
        assert "brix_raw_deg" not in table and table.count("°Brix leído: 24.6 °Bx") == table.count("°Brix leído: 2.46 °Bx") == 2 and f"por qué: {WHY}" in table and f'href="/records/{odd}"' in table and f"Lectura de {name}, {SLIPPED}" in table
        assert 'data-head="Antes"' in table and 'data-head="Después"' in table
    none = client.get("/trail?subject=LA-355&lang=es").get_data(as_text=True)
    assert "<h1>Ningún cambio anotado en «LA-355»</h1>" in none and "Los últimos 0" not in none and "subject=" in re.search(r"¿Querías decir\?.*?</p>", none)[0]
