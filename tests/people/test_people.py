"""Sign-in, roles, phones: what is refused is refused, and nothing secret is stored in clear."""

import pytest

from webapp.people import devices, permissions, service
from webapp.problems import Problem

PASSWORD = "cuatro palabras bien largas"


@pytest.fixture()
def head(db):
    return service.add_person(db, "Ana", "Ana", PASSWORD, ("head",), by="prueba")


def test_sign_in_and_out(db, head):
    token = service.sign_in(db, "ANA ", PASSWORD, "127.0.0.1")
    assert service.person_for(db, token).roles == ("head",)
    stored = db.conn.execute("SELECT token_hash FROM session").fetchone()[0]
    assert token not in stored and len(stored) == 64
    assert db.conn.execute("SELECT password_hash FROM person").fetchone()[0].startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    service.sign_out(db, token)
    assert service.person_for(db, token) is None


def test_wrong_password_and_unknown_login_say_the_same(db, head):
    said = []
    for login in ("ana", "nadie"):
        with pytest.raises(Problem) as refused:
            service.sign_in(db, login, "equivocada", "127.0.0.1")
        said.append((refused.value.code, refused.value.status))
    assert said == [("sign_in_refused", 401)] * 2


def test_tries_are_limited(db, head):
    for _ in range(10):
        with pytest.raises(Problem, match="no coinciden"):
            service.sign_in(db, "ana", "equivocada", "10.0.0.9")
    with pytest.raises(Problem) as limited:
        service.sign_in(db, "ana", PASSWORD, "10.0.0.9")
    assert limited.value.status == 429


@pytest.mark.parametrize("password, code", [("corta", "password_short"), ("x" * 257, "password_long"), ("12345678", "password_worst"), ("ana-ana-", None)])
def test_password_rules(db, password, code):
    if code is None:
        assert service.add_person(db, "B", "b", password, ("crew",), by="x")
        return
    with pytest.raises(Problem) as refused:
        service.add_person(db, "B", "b", password, ("crew",), by="x")
    assert refused.value.code == code and service.people(db) == []


def test_the_last_head_stays(db, head):
    with pytest.raises(Problem, match="única"):
        service.set_roles(db, head, ("crew",), "Ana")
    with pytest.raises(Problem, match="única"):
        service.set_active(db, head, False, "Ana")


def test_deactivated_person_is_out_at_once(db, head):
    other = service.add_person(db, "Beto", "beto", PASSWORD, ("planner",), by="Ana")
    token = service.sign_in(db, "beto", PASSWORD, "x")
    service.set_active(db, other, False, "Ana")
    assert service.person_for(db, token) is None
    with pytest.raises(Problem):
        service.sign_in(db, "beto", PASSWORD, "x")


def test_owner_link_works_once_and_only_on_an_empty_estate(db):
    link = service.owner_link(db)
    person = service.claim_owner(db, link, "Ana", "ana", PASSWORD)
    assert set(person.roles) == {"head", "keeper"}
    with pytest.raises(Problem, match="ya se usó"):
        service.claim_owner(db, link, "Eva", "eva", PASSWORD)
    with pytest.raises(Problem):
        service.owner_link(db)


def test_phone_code_is_good_once(db, head):
    device, code = service.new_device(db, "Teléfono 1", "Cuadrilla 1", "Ana")
    found, cookie = service.enrol(db, code.lower(), "x")
    assert found == device and service.device_for(db, cookie).crew == "Cuadrilla 1"
    assert code not in str(db.execute("SELECT * FROM enrol_code").fetchall())
    with pytest.raises(Problem, match="ya se usó"):
        service.enrol(db, code, "x")
    service.revoke_device(db, device, "Ana")
    assert service.device_for(db, cookie) is None
    assert [t["act"] for t in service.trail(db)][:3] == ["revoke_device", "enrol", "new_device"]


def test_a_phone_that_waits_gets_another_code_and_only_the_newest_is_good(db, head):
    device, first = service.new_device(db, "Teléfono 1", "Cuadrilla 1", "Ana")
    name, second = service.new_code(db, device, "Ana")
    assert name == "Teléfono 1" and second != first and second not in str(db.execute("SELECT * FROM enrol_code").fetchall())
    with pytest.raises(Problem, match="ya se usó"):
        service.enrol(db, first, "x")
    assert service.enrol(db, devices.in_groups(second), "x")[0] == device
    with pytest.raises(Problem) as refused:
        service.new_code(db, device, "Ana")
    assert (refused.value.code, refused.value.status) == ("device_not_waiting", 409)
    assert [t["act"] for t in service.trail(db)][:3] == ["enrol", "new_code", "new_device"]


def test_a_code_still_in_hand_does_not_wake_a_revoked_phone(db, head):
    device, code = service.new_device(db, "Teléfono 1", "", "Ana")
    service.revoke_device(db, device, "Ana")
    with pytest.raises(Problem, match="ya se usó"):
        service.enrol(db, code, "x")
    with pytest.raises(Problem) as refused:
        service.new_code(db, device, "Ana")
    assert refused.value.code == "device_not_waiting"
    with pytest.raises(Problem) as missing:
        service.new_code(db, "0" * 16, "Ana")
    assert missing.value.status == 404


@pytest.mark.parametrize("cookie", ["", "x", "a.b", "0" * 16 + "." + "A" * 43, "ñ" * 70])
def test_nonsense_cookies_are_nobody(db, cookie):
    assert service.device_for(db, cookie) is None


def test_permissions_are_one_table():
    assert set(permissions.ROUTES.values()) <= set(permissions.PERMISSIONS) | {"open", "device"}
    assert all(roles <= set(permissions.ROLES) for roles in permissions.PERMISSIONS.values())
    assert not permissions.allowed(("head",), "no_such_permission") and not permissions.allowed((), "see_field")
    assert list(permissions.ROUTES) == sorted(permissions.ROUTES), "kept in alphabetical order so that a hole is seen"
    assert not permissions.allowed(("crew",), "see_money")
