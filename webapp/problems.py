"""Every error says what is wrong, where, and what to do (RFC 9457 shape at the edges)."""

from __future__ import annotations

from typing import Any

from .sentences import say


class Problem(Exception):
    """Something the user can understand and act on.

    ``code`` names two sentences of the catalogue, ``problem.<code>.what`` and ``problem.<code>.do``;
    ``where`` is a place in words or a path (file, line, field); ``status`` the HTTP status at the web
    edge. ``params`` fill the sentences. Extra problems of the same act go into ``parts``.
    """

    def __init__(self, code: str, *, where: str = "", status: int = 422, parts: list["Problem"] | None = None, **params: Any) -> None:
        super().__init__(code)
        self.code, self.where, self.status, self.params, self.parts = code, where, status, params, parts or []

    def what(self, language: str) -> str:
        return say(f"problem.{self.code}.what", language, where=self.where, **self.params)

    def do(self, language: str) -> str:
        return say(f"problem.{self.code}.do", language, where=self.where, **self.params)

    def text(self, language: str) -> str:
        place = f" ({self.where})" if self.where else ""
        return f"{self.what(language)}{place}. {self.do(language)}"

    def as_dict(self, language: str = "es") -> dict:
        """RFC 9457 members, plus ``code``, ``where`` and ``do``."""
        body = {
            "type": f"/problems/{self.code}", "title": self.what(language), "status": self.status,
            "detail": self.text(language), "code": self.code, "where": self.where, "do": self.do(language),
        }
        if self.parts:
            body["errors"] = [part.as_dict(language) for part in self.parts]
        return body

    def __str__(self) -> str:
        try:
            return self.text("es")
        except KeyError as missing:
            return f"{self.code} ({self.where}) {self.params} [{missing.args[0]}]"
