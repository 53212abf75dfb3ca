"""Orders of a plot without a zone: on the office's page, on the phone, in the calendar and on the command line nothing is said in a computer's words."""

import json
import re

import pytest
from click.testing import CliRunner

from tests.ripeness.thin_estates import load, plots, round_of, scattered
from webapp import create_app
from webapp.cli import main_group
from webapp.cutting import service as cutting
from webapp.people import service as people
from webapp.work import estimates

PASSWORD = "cuatro palabras bien largas"


@pytest.fixture()
def site(db, estate_path):
    plots(db, {"A": ("2019-07-01", None, "azul")})
    load(db, [line for day in (5, 200) for line in round_of("A", day, scattered(26, 12, day))])
    estimates(db)
    cutting.set_crew(db, "Tordos", 6, who="Ana")
    cutting.publish(db, cutting.make_plan(db, seconds=0.3, who="Ana"), "Ana", weeks=4)
    people.add_person(db, "Ana Ruelas", "ana", PASSWORD, ["head"], by="prueba")
    return create_app(estate_path, testing=True), db, estate_path


@pytest.mark.parametrize("language", ["es", "en"])
def test_a_plot_without_a_zone_has_a_dash_in_its_orders(site, language):
    app, db, path = site
    client = app.test_client()
    client.post("/sign-in", data={"login": "ana", "password": PASSWORD})
    found = cutting.orders(db)
    assert found and {order["zone"] for order in found} == {""}
    for week in {order["week"] for order in found}:
        body = client.get(f"/orders?week={week}&lang={language}").get_data(as_text=True)
        assert re.search(r'Tabla A, A<br><span class="small soft">–</span>', body) and not re.search(r"\bNone\b", body)
    for address in ("/cutting", "/today", "/cutting/plan.ics"):
        assert not re.search(r"\bNone\b", client.get(address, query_string={"lang": language}).get_data(as_text=True)), address
    told = CliRunner().invoke(main_group, ["--estate", str(path), "--lang", language, "cutting", "orders"])
    assert told.exit_code == 0 and not re.search(r"\bNone\b", told.output)
    phone = app.test_client()
    assert phone.post("/field/enrol", json={"code": people.new_device(db, f"Tel {language}", "Tordos", "prueba")[1]}).status_code == 200
    pack = json.loads(phone.get("/field/pack").get_data())
    assert "zone" not in pack["plots"][0] and not re.search(r"\bNone\b", json.dumps(pack))
