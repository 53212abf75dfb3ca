"""Every route × role × nobody: what the one table allows is reachable, and nothing else is."""

import pytest

from webapp.commands.seeding import SIGN_INS
from webapp.people import permissions

SAMPLES = {"code": "VS-04", "key": "x", "kind": "geojson", "job": "1", "plan": "1", "record": "x", "person": "1", "device": "x", "doubt": "1", "answer": "leave", "waiting": "1", "action": "drop",
           "closure": "1", "token": "x", "name": "x", "digest_": "x", "digest": "x", "file": "x", "filename": "x", "part": "plots"}


def rules(app):
    return [rule for rule in app.url_map.iter_rules()]


def address(app, rule):
    with app.test_request_context():
        from flask import url_for

        values = {name: ("csv" if rule.endpoint == "export.file" else SAMPLES[name]) for name in rule.arguments}
        return url_for(rule.endpoint, **{n: int(v) if v.isdigit() else v for n, v in values.items()})


def test_every_route_has_an_entry_and_every_entry_a_route(demo_site):
    routes = {rule.endpoint for rule in rules(demo_site)}
    assert not routes - set(permissions.ROUTES), f"nobody may open {routes - set(permissions.ROUTES)}: add them to permissions.ROUTES"
    assert not set(permissions.ROUTES) - routes, f"permissions.ROUTES names routes that are gone: {set(permissions.ROUTES) - routes}"


@pytest.mark.parametrize("login, roles", [(None, ()), *((login, roles) for _, login, _, roles in SIGN_INS)], ids=lambda v: str(v))
def test_walk(demo_site, sign_in, login, roles):
    """Allowed routes answer anything but 401/403; others 403, or 401 (or the sign-in page) for nobody."""
    client = sign_in(login)
    for rule in rules(demo_site):
        need = permissions.ROUTES[rule.endpoint]
        if rule.endpoint in ("account.sign_out", "account.sign_in_now", "account.owner_now", "sync.enrol"):
            continue  # they would end the walk's own session, or are refused by their own contents
        for method in sorted(rule.methods & {"GET", "POST"}):
            reply = client.open(address(demo_site, rule), method=method)
            allowed = need == "open" or (need != "device" and permissions.allowed(roles, need))
            if allowed:
                assert reply.status_code not in (401, 403), (method, rule.rule, login, reply.status_code)
            elif need == "device":
                assert reply.status_code == 401, (method, rule.rule)
            elif login is None:
                assert reply.status_code in ((302,) if method == "GET" else (401,)), (method, rule.rule, reply.status_code)
            else:
                assert reply.status_code == 403, (method, rule.rule, login, reply.status_code)


def test_cross_site_writes_are_refused(demo_site, sign_in):
    client = sign_in("jefa")
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}, {"Origin": "https://otro.example"}):
        assert client.post("/settings", data={"need_t_week": "1"}, headers=headers).status_code == 403
    assert client.post("/settings", data={"need_t_week": "280"}, headers={"Sec-Fetch-Site": "same-origin"}).status_code == 303


def test_headers_are_strict(sign_in):
    reply = sign_in("jefa").get("/map")
    policy = reply.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy.replace("http-equiv", "")
    assert reply.headers["X-Content-Type-Options"] == "nosniff" and reply.headers["Cache-Control"] == "no-store"


def test_errors_are_pages_for_people_and_problems_for_programs(sign_in):
    client = sign_in("jefa")
    page = client.get("/plots/NO-HAY")
    assert page.status_code == 404 and "No existe esa tabla" in page.get_data(as_text=True)
    problem = client.get("/plots/NO-HAY?lang=en", headers={"Accept": "application/json"})
    assert problem.content_type == "application/problem+json" and problem.json["status"] == 404 and problem.json["title"] == "There is no such plot"
    wrong = client.post("/map")
    assert wrong.status_code == 405 and "GET" in wrong.headers["Allow"]


def test_only_our_own_addresses(sign_in):
    """No page links to, or loads from, another host."""
    import re

    client = sign_in("jefa")
    for path in ("/today", "/map", "/map/table", "/map/script.js", "/ripeness", "/plots/VS-04", "/held", "/cutting", "/orders", "/outlook", "/sales", "/land", "/people", "/settings", "/method", "/trail", "/field/"):
        body = client.get(path).get_data(as_text=True)
        for found in re.findall(r"""(?:href|src|action)=["']([^"']+)""", body) + re.findall(r"https?://[^\s\"'<>)]+", body):
            assert not re.match(r"(https?:)?//", found) or found.startswith("http://www.w3.org/"), (path, found)
        assert "<script>" not in body and " style=" not in body and "onclick" not in body, path
