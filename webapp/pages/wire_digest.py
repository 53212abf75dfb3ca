"""Content-Digest (RFC 9530) on what phones send and are told: a byte changed on the road must not become a record."""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256

from flask import Response, request

from ..problems import Problem

_TOLD = re.compile(r"(?:^|[,\s])sha-256=:([A-Za-z0-9+/=]*):")


def of(body: bytes) -> str:
    return f"sha-256=:{b64encode(sha256(body).digest()).decode()}:"


def agrees(body: bytes, header: str) -> bool:
    """Whether the body is what the header tells of; True when it tells of none we know."""
    told = _TOLD.search(header)
    return not told or f"sha-256=:{told[1]}:" == of(body)


def checked(body: bytes) -> bytes:
    """The body when it is what its header tells of, or when no header tells (plain http has no digests). Problem ``batch_digest``."""
    if not agrees(body, request.headers.get("Content-Digest", "")):
        raise Problem("batch_digest", where=request.path, status=400)
    return body


def signed(response: Response) -> Response:
    """The reply under the digest of its bytes."""
    response.headers["Content-Digest"] = of(response.get_data())
    return response
