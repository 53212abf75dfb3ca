"""The phone's shell and files as the server gives them: small, byte-stable, closed to anything inline."""

from __future__ import annotations

import gzip
import json
import re

import pytest

from webapp import create_app
from webapp.pages import phone_files, phone_icons


@pytest.fixture()
def client(db, estate_path):
    return create_app(estate_path, testing=True).test_client()


def test_shell_with_everything_is_at_most_90_kb_compressed():
    build = phone_files.build()
    assert build.gz_bytes() <= 90 * 1024, {name: len(body) for name, body in build.packed.items()}


def test_shell_is_byte_stable_has_no_redirect_and_nothing_inline_but_the_style_its_policy_names(client):
    first, second = client.get("/field/"), client.get("/field/", headers={"Cookie": "device=x.y"})
    assert first.status_code == 200 and first.data == second.data
    html = first.get_data(as_text=True)
    style, = re.findall(r"<style>(.*?)</style>", html, re.S)
    assert not re.search(r"<script(?![^>]*\ssrc=)|<style|\sstyle=|\son\w+=", html.replace(f"<style>{style}</style>", ""))
    assert "{{" not in html
    policy = first.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert f"style-src '{phone_files.sri(style.encode())}';" in policy
    assert "Set-Cookie" not in first.headers


def test_unchanged_shell_is_304(client):
    tag = client.get("/field/").headers["ETag"]
    assert client.get("/field/", headers={"If-None-Match": tag}).status_code == 304


def test_worker_lists_every_file_with_its_digest(client):
    script = client.get("/field/sw.js").get_data(as_text=True)
    listed = dict(json.loads(re.search(r"const PRECACHE = (.*);", script).group(1)))
    assert {"/field/", "/field/manifest.webmanifest"} < set(listed)
    for address, integrity in listed.items():
        reply = client.get(address)
        assert reply.status_code == 200, address
        assert phone_files.sri(reply.data) == integrity, address
    html = client.get("/field/").get_data(as_text=True)
    assert set(re.findall(r'(?:src|href)="(/[^"]+)"', html)) <= set(listed)


def test_files_are_kept_for_ever_and_another_build_is_404(client):
    build = phone_files.build()
    reply = client.get(f"/s/{build.name}/app.js", headers={"Accept-Encoding": "gzip"})
    assert "immutable" in reply.headers["Cache-Control"] and gzip.decompress(reply.data) == build.files["app.js"]
    assert client.get("/s/000000000000/app.js").status_code == 404
    assert client.get(f"/s/{build.name}/../../pyproject.toml").status_code == 404


def test_icons_are_what_the_drawing_gives():
    import zlib

    def pixels(png: bytes) -> bytes:
        start = png.index(b"IDAT")
        return zlib.decompress(png[start + 4:start + 4 + int.from_bytes(png[start - 4:start], "big")])

    for name, body in phone_icons.draw().items():
        assert pixels((phone_files.FOLDER / "icons" / name).read_bytes()) == pixels(body), name


def test_every_word_the_phone_says_is_in_the_catalogue():
    known = set(json.loads(phone_files.words("es")))
    for name, body in phone_files.build().files.items():
        if name.endswith(".js"):
            for code in re.findall(r"""\bsay\((?:[\w.]+ \? )?["']([a-z_0-9.]+)["']""", body.decode()):
                assert code in known, f"{name} says {code!r}"
