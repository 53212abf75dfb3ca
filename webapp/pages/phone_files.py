"""The phone's files: one build, one address prefix, one precache list with SRI digests.

Everything is read once at start. ``BUILD`` is a digest over every byte the phone gets, so a changed
word makes a new build and no two versions ever mix; what is served is what was hashed. A phone gets the
modules as one file (``app.js``); each module but that one is also there by its own name, for the tests that try one alone.
"""

from __future__ import annotations

import gzip
import json
import re
from base64 import b64encode
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from .. import STATIC, dictionary
from ..sentences import LANGUAGES, catalogue
from ..survey import brix
from . import phone_bundle

FOLDER = STATIC / "field"
TYPES = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".json": "application/json; charset=utf-8",
         ".png": "image/png", ".svg": "image/svg+xml"}
PREFIX = "phone."
PLACED = ("shell.html", "style.css", "worker.js", "manifest.webmanifest")
ENTRY = "app.js"
EARLY = ("words.es.json", "dictionary.json", "brix_table.json")
"""What the first screen reads: asked for beside the modules, not after them."""


@dataclass(frozen=True)
class Build:
    """One release of the phone: its files (name → bytes), their compressed twins, shell, worker, manifest.

    ``shown`` names the files a phone loads and keeps. ``style_sri`` is the digest of the style, which stands
    inside the shell: a page paints nothing before its style, and one of a file's own costs a slow phone a
    request to the worker more.
    """

    name: str
    files: dict[str, bytes]
    packed: dict[str, bytes]
    shell: bytes
    style_sri: str
    worker: bytes
    manifest: bytes
    shown: tuple[str, ...]

    def gz_bytes(self) -> int:
        """What a first visit transfers, compressed, with everything."""
        return sum(len(self.packed[name]) for name in self.shown) + sum(len(squeeze(body)) for body in (self.shell, self.worker, self.manifest))


def squeeze(body: bytes) -> bytes:
    return gzip.compress(body, 9, mtime=0)


def words(language: str) -> bytes:
    """The phone's sentences as JSON, prefix dropped; a plural is a pair [one, other]."""
    chosen = {code.removeprefix(PREFIX): list(text) if isinstance(text, tuple) else text
              for code, text in catalogue(language).items() if code.startswith(PREFIX)}
    return json.dumps(chosen, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()


def slim(source: bytes) -> bytes:
    """A module without its whole-line comments and indentation: a sixth of what a phone would load.

    Line by line, so it needs no parser; our modules keep comments on lines of their own and no text over
    several lines.
    """
    text = re.sub(r"(?ms)^[ \t]*/\*\*.*?\*/[ \t]*\n", "", source.decode())
    return re.sub(r"(?m)^[ \t]+", "", re.sub(r"(?m)^[ \t]*//.*\n", "", text)).encode()


def sri(body: bytes) -> str:
    return "sha256-" + b64encode(sha256(body).digest()).decode()


def collect(folder: Path) -> dict[str, bytes]:
    """Files below /s/<build>/: the modules, the icons, the words and the field dictionary."""
    files = {path.relative_to(folder).as_posix(): slim(path.read_bytes()) if path.suffix == ".js" else path.read_bytes()
             for path in sorted(folder.rglob("*")) if path.suffix in TYPES and path.name not in PLACED}
    for language in LANGUAGES:
        files[f"words.{language}.json"] = words(language)
    fields = json.dumps(dictionary.for_phone(), ensure_ascii=False, separators=(",", ":"))
    files["dictionary.json"] = fields.encode()
    files["brix_table.json"] = json.dumps(brix.for_phone(), separators=(",", ":")).encode()
    files[ENTRY] = phone_bundle.bundle({name: body.decode() for name, body in files.items() if name.endswith(".js")}, ENTRY).encode()
    return dict(sorted(files.items()))


@lru_cache(maxsize=2)
def build(folder: Path = FOLDER) -> Build:
    """Read, hash and compress the release found in ``folder``."""
    files = collect(folder)
    placed = {name: (folder / name).read_text() for name in PLACED}
    parts = [name.encode() + b"\0" + sha256(body).digest() for name, body in files.items()]
    parts += [name.encode() + b"\0" + sha256(text.encode()).digest() for name, text in placed.items()]
    name = sha256(b"".join(parts)).hexdigest()[:12]
    shown = tuple(file for file in files if not file.endswith(".js") or file == ENTRY)
    preload = "\n".join(f'<link rel="preload" as="fetch" crossorigin href="/s/{name}/{file}">' for file in EARLY)
    style = placed["style.css"].strip()
    shell = placed["shell.html"].replace("{{STYLE}}", style).replace("{{PRELOAD}}", preload).replace("{{BUILD}}", name).encode()
    manifest = placed["manifest.webmanifest"].replace("{{BUILD}}", name).encode()
    precache = [("/field/", sri(shell)), ("/field/manifest.webmanifest", sri(manifest))]
    precache += [(f"/s/{name}/{file}", sri(files[file])) for file in shown]
    head = f"const BUILD = {json.dumps(name)};\nconst PRECACHE = {json.dumps(precache)};\n"
    return Build(name, files, {file: squeeze(body) for file, body in files.items()}, shell, sri(style.encode()), head.encode() + slim(placed["worker.js"].encode()), manifest, shown)
