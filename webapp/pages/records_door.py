"""A short way for phones' batches, before Flask: plain requests only; everything else goes on to Flask untouched.

A crew's phones come at once, and what Flask does around a request took as long as reading its fifty
records. A batch is signed in and taken here by the very functions that ``sync.records`` calls. Nothing is
refused here: a request that is not in every header what a phone sends goes on to Flask whole, and what
the taking of records refuses goes on as its reason, which Flask says in words.
"""

from __future__ import annotations

import re
from functools import lru_cache
from io import BytesIO
from typing import Any, Callable, Iterable

from flask import Flask
from werkzeug.datastructures import LanguageAccept
from werkzeug.http import parse_accept_header

from ..database import Database, thread_estate
from ..people import permissions
from ..people import service as people
from ..sentences import LANGUAGES
from ..survey import service as survey
from . import access, sync, wire_digest

PATH = "/field/records"
_ALONE = {"http": re.compile("device=([A-Za-z0-9._-]+)"), "https": re.compile("__Host-device=([A-Za-z0-9._-]+)")}
"""The phone's cookie and no other: a person's session and a chosen language are Flask's to judge."""


class RecordsDoor:
    """The WSGI application in front of Flask's (``onward``)."""

    def __init__(self, app: Flask) -> None:
        self.app, self.onward = app, app.wsgi_app

    def __call__(self, environ: dict[str, Any], start: Callable) -> Iterable[bytes]:
        if environ["PATH_INFO"] == PATH and environ["REQUEST_METHOD"] == "POST" and _is_a_phones(environ):
            told = self._told(environ)
            if told is not None:
                start("200 OK", [("Content-Type", "application/json"), ("Content-Length", str(len(told))), ("Content-Digest", wire_digest.of(told)),
                                 *access.usual_headers(environ["wsgi.url_scheme"] == "https")])
                return [told]
        return self.onward(environ, start)

    def _told(self, environ: dict[str, Any]) -> bytes | None:
        """The receipts, once they are on the disk; None when Flask shall answer."""
        body = environ["wsgi.input"].read(int(environ["CONTENT_LENGTH"]))
        environ["wsgi.input"] = BytesIO(body)
        if not wire_digest.agrees(body, environ.get("HTTP_CONTENT_DIGEST", "")):
            return None
        path, cookie = self.app.config["ESTATE"], _cookie(environ)[1]
        try:
            return survey.receive_json(path, lambda: thread_estate(path), body, lambda db: _sender(db, cookie), _language(environ.get("HTTP_ACCEPT_LANGUAGE", "")))
        except _Unknown:
            return None
        except Exception as refused:
            environ[sync.REFUSED] = refused
            return None


class _Unknown(Exception):
    """No enrolled phone's cookie."""


def _sender(db: Database, cookie: str) -> survey.Sender:
    device = people.device_for(db, cookie, touch=False)
    if device is None:
        raise _Unknown
    return sync.sender(device)


def _is_a_phones(environ: dict[str, Any]) -> bool:
    """Whether its headers are those of a phone's ordinary batch, its body of a length that is read at all."""
    length = environ.get("CONTENT_LENGTH", "")
    return (environ.get("HTTP_SEC_FETCH_SITE") == "same-origin" and environ.get("CONTENT_TYPE") == "application/json" and not environ.get("QUERY_STRING")
            and length.isascii() and length.isdecimal() and len(length) <= 9 and int(length) <= survey.MOST_BYTES
            and _cookie(environ) is not None and permissions.ROUTES.get("sync.records") == access.DEVICE)


def _cookie(environ: dict[str, Any]) -> re.Match | None:
    pattern = _ALONE.get(environ["wsgi.url_scheme"])
    return pattern and pattern.fullmatch(environ.get("HTTP_COOKIE", ""))


@lru_cache(maxsize=64)
def _language(asked: str) -> str:
    """As ``layout`` chooses it for somebody who is no person and chose none."""
    return parse_accept_header(asked, LanguageAccept).best_match(LANGUAGES, "es")
