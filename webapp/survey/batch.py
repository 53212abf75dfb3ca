"""A batch as it came over the wire, every record with the very bytes it was written in.

A record's bytes are cut out of the body, not written anew: what the log stores is what the phone sent.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from json.decoder import scanstring
from typing import Any

import msgspec

from ..problems import Problem
from . import ordinary
from . import record as rec

MOST_RECORDS, MOST_BYTES = 500, 1_048_576
LONGEST_WHOLE = 18
"""Digits of a whole number that is kept as one; longer ones (no field allows them) become floating."""
_SPACE = re.compile(r"[ \t\n\r]*")


def _whole(digits: str) -> int | float:
    return int(digits) if len(digits) <= LONGEST_WHOLE else float(digits)


_DECODER = json.JSONDecoder(parse_int=_whole)


class _Wire(msgspec.Struct):
    """A batch in good order, its records left as the bytes they came in."""

    schema: int
    records: list[msgspec.Raw]
    sent_at: Any = None


_QUICK, _QUICK_RECORD = msgspec.json.Decoder(_Wire), msgspec.json.Decoder()
_DIGITS = bytes(48 if 48 <= code <= 57 else 32 for code in range(256))
_LONG_NUMBER = b"0" * (LONGEST_WHOLE + 1)


@dataclass(frozen=True)
class Batch:
    """``found`` are the records as read (``ordinary.Found`` or a plain value) and ``texts`` their bytes, in the same order; ``sent`` by the device's own clock."""

    schema: int
    sent: datetime | None
    found: list[Any]
    texts: list[bytes]

    @property
    def records(self) -> list[Any]:
        """All as plain values."""
        return [plain(found, text) for found, text in zip(self.found, self.texts)]

    def clock_error(self, received: datetime) -> timedelta:
        """received − sent; zero when the device does not say."""
        try:
            return received - self.sent if self.sent else timedelta()
        except OverflowError:
            return timedelta()


def read(body: bytes) -> Batch:
    """Problems (400/413): batch_too_big, batch_not_json (also when nested too deep), batch_shape, batch_too_many."""
    if len(body) > MOST_BYTES:
        raise Problem("batch_too_big", where="records", status=413, limit_mb=1)
    head, found, texts = _quickly(body) or parsed(body)
    schema = head.get("schema")
    if found is None or isinstance(schema, bool) or not isinstance(schema, int) or not 1 <= schema < 2**31:
        raise Problem("batch_shape", where="records", status=400)
    if len(found) > MOST_RECORDS:
        raise Problem("batch_too_many", where="records", status=413, limit=MOST_RECORDS)
    return Batch(schema, rec.parse_time(head.get("sent_at")), found, texts)


def reply(told: dict[str, Any]) -> bytes:
    """What a phone is told, as JSON."""
    return _REPLY(told)


_REPLY = msgspec.json.Encoder().encode


def plain(found: Any, text: bytes) -> Any:
    """A record as a plain value, whoever read it."""
    return _QUICK_RECORD.decode(text) if isinstance(found, ordinary.Found) else found


def _quickly(body: bytes) -> tuple[dict[str, Any], list[Any], list[bytes]] | None:
    """What ``parsed`` says, several times faster, for a batch that the strict reader takes whole; None sends it the exact way."""
    try:
        wire = _QUICK.decode(body)
        texts = list(map(bytes, wire.records))
        return {"schema": wire.schema, "sent_at": wire.sent_at}, ordinary.read_all(body) or [ordinary.read(text) or _value(text) for text in texts], texts
    except (msgspec.MsgspecError, ValueError, RecursionError):
        return None


def _value(text: bytes) -> Any:
    if _LONG_NUMBER in text.translate(_DIGITS):
        raise ValueError("a whole number that is to be read as a floating one")
    return _QUICK_RECORD.decode(text)


def parsed(body: bytes) -> tuple[dict[str, Any], list[Any] | None, list[bytes]]:
    """(the batch without its records, the records, their bytes); records None when there is no such list. Problem batch_not_json."""
    try:
        text = body.decode("utf-8")
        return _members(text)
    except (ValueError, RecursionError) as error:
        raise Problem("batch_not_json", where="records", status=400, reason=type(error).__name__) from error


def one(text: str) -> Any:
    """One JSON value (a line of a file). Raises ValueError or RecursionError."""
    value, end = _DECODER.raw_decode(text, _after_space(text, 0))
    if _after_space(text, end) != len(text):
        raise ValueError("more than one value")
    return value


def _after_space(text: str, at: int) -> int:
    return _SPACE.match(text, at).end()


def _expect(text: str, at: int, mark: str) -> int:
    if text[at:at + 1] != mark:
        raise ValueError(f"expected {mark} at {at}")
    return _after_space(text, at + 1)


def _members(text: str) -> tuple[dict[str, Any], list[Any] | None, list[bytes]]:
    at = _after_space(text, 0)
    if text[at:at + 1] != "{":
        one(text)  # readable, but no batch
        return {}, None, []
    head, records, texts = {}, None, []
    at = _expect(text, at, "{")
    while text[at:at + 1] != "}":
        if text[at:at + 1] != '"':
            raise ValueError(f"expected a name at {at}")
        name, at = scanstring(text, at + 1)
        at = _expect(text, _after_space(text, at), ":")
        if name == "records" and text[at:at + 1] == "[":
            records, texts, at = _elements(text, at)
        else:
            head[name], at = _DECODER.raw_decode(text, at)
        at = _comma(text, at, "}")
    if _after_space(text, at + 1) != len(text):
        raise ValueError("more after the batch")
    return head, records, texts


def _elements(text: str, at: int) -> tuple[list[Any], list[bytes], int]:
    values, texts = [], []
    at = _expect(text, at, "[")
    while text[at:at + 1] != "]":
        value, end = _DECODER.raw_decode(text, at)
        values.append(value)
        texts.append(text[at:end].encode("utf-8"))
        at = _comma(text, end, "]")
    return values, texts, at + 1


def _comma(text: str, at: int, close: str) -> int:
    """Past a comma to the next member, or to the closing mark; a comma before the closing mark is a fault."""
    at = _after_space(text, at)
    if text[at:at + 1] == close:
        return at
    at = _expect(text, at, ",")
    if text[at:at + 1] == close:
        raise ValueError(f"nothing after the comma at {at}")
    return at
