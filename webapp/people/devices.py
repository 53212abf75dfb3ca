"""What a phone is to the server, and the shape of its one-time code and cookie."""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass

CODE_MINUTES = 10
_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # no 0/O, 1/I/L: read aloud over a bad line
_COOKIE = re.compile(r"^([0-9a-f]{16})\.([A-Za-z0-9_-]{40,60})$")


@dataclass(frozen=True)
class Device:
    id: str
    name: str
    crew: str
    revoked: bool = False
    seen_at: str = ""


def new_id() -> str:
    return secrets.token_hex(8)


def new_code() -> str:
    """Twelve letters (59 bits): single use within ten minutes, behind an attempt limit."""
    return "".join(secrets.choice(_LETTERS) for _ in range(12))


def in_groups(code: str) -> str:
    """As it is read aloud and typed: "GN4M U5RU C93E"."""
    return " ".join(code[i : i + 4] for i in range(0, len(code), 4))


def tidy(code: str) -> str:
    return re.sub(r"[\s-]", "", code).upper()


def split_cookie(value: str) -> tuple[str, str] | None:
    match = _COOKIE.match(value)
    return (match[1], match[2]) if match else None
