"""Content-Digest (RFC 9530): a batch that changed on the road stores nothing, and replies carry their own."""

from __future__ import annotations

import json
from base64 import b64encode
from hashlib import sha256

import pytest

from webapp.database import rows

from .test_sync import JPEG, batch, office, phone, remark  # noqa: F401


def told(body: bytes) -> str:
    return f"sha-256=:{b64encode(sha256(body).digest()).decode()}:"


def send(phone, body: bytes, digest: str | None):
    return phone.post("/field/records", data=body, content_type="application/json", headers={"Content-Digest": digest} if digest else {})


BODY = json.dumps(batch(remark(1))).encode()


@pytest.mark.parametrize("header", [told(BODY), f"sha-512=:AAAA:, {told(BODY)}", "sha-512=:AAAA:", "no digest at all", None])
def test_a_batch_under_its_own_digest_or_none_we_know_is_taken(phone, header):
    reply = send(phone, BODY, header)
    assert reply.status_code == 200 and reply.json["results"][0]["status"] == "kept"
    assert reply.headers["Content-Digest"] == told(reply.data)


@pytest.mark.parametrize("changed", [BODY.replace(b"brecha", b"brechx"), BODY[:-9], b""])
def test_a_batch_that_changed_on_the_road_stores_nothing(phone, db, changed):
    reply = send(phone, changed, told(BODY))
    assert reply.status_code == 400 and reply.json["code"] == "batch_digest" and reply.json["do"]
    assert rows(db, "SELECT count(*) AS n FROM record")[0]["n"] == 0
    assert send(phone, BODY, told(BODY)).json["results"][0]["status"] == "kept"


def test_a_photo_is_answered_under_a_digest_too(phone):
    reply = phone.post(f"/field/photos/{remark(1)['id']}/{sha256(JPEG).hexdigest()}", data=JPEG, content_type="image/jpeg")
    assert reply.status_code == 200 and reply.headers["Content-Digest"] == told(reply.data)
