"""One place answers every refusal: a page for people, RFC 9457 JSON for programs."""

from __future__ import annotations

import json
import logging
import secrets

from flask import Flask, Response, g, request
from werkzeug.exceptions import HTTPException

from ..problems import Problem
from ..sentences import known

LOG = logging.getLogger("pinario")


def answer_with_problems(app: Flask) -> None:
    app.register_error_handler(Problem, _problem)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(Exception, _unexpected)


def _language() -> str:
    return g.get("language", "es")


def _wants_json() -> bool:
    if request.path.startswith("/field/") and request.method != "GET" or request.is_json:
        return True
    return request.accept_mimetypes.best_match(["text/html", "application/json"], "text/html") == "application/json"


def _answer(body: dict, status: int, headers: dict | None = None) -> Response:
    """JSON or a page; what is still being reckoned has a page of its own, which opens itself again."""
    if _wants_json():
        response = Response(json.dumps(body, ensure_ascii=False), status, content_type="application/problem+json")
    else:
        from .layout import render
        from .resting import waiting

        told = waiting() if body["code"] == "being_reckoned" else {}
        response = Response(render("waiting.html" if told else "problem.html", problem=body, title=body["title"], **told), status)
    response.headers.update(headers or {})
    return response


def _problem(problem: Problem) -> Response:
    headers = {"WWW-Authenticate": 'Session realm="pinario"'} if problem.status == 401 else {}
    if problem.status in (429, 503):
        headers["Retry-After"] = str(problem.params.get("wait_s", 30))
    return _answer(problem.as_dict(_language()), problem.status, headers)


def _http(error: HTTPException) -> Response:
    code = f"http_{error.code}" if known(f"problem.http_{error.code}.what") else "http_other"
    headers = {"Allow": ", ".join(error.valid_methods)} if error.code == 405 and getattr(error, "valid_methods", None) else {}
    return _answer(Problem(code, where=request.path, status=error.code or 500).as_dict(_language()), error.code or 500, headers)


def _unexpected(error: Exception) -> Response:
    mark = secrets.token_hex(4)
    LOG.exception("unexpected error %s at %s", mark, request.path)
    return _answer(Problem("unexpected", where=request.path, status=500, mark=mark).as_dict(_language()), 500)


