"""The user's values of the settings: every change kept, each state with a version."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Iterator

import sqlite_utils

from . import clock
from .config import BY_NAME, SETTINGS, Setting, words_code
from .database import atomic, path_of
from .problems import Problem
from .sentences import Sentence


class Settings(Mapping):
    """Values by name (``settings["target_brix_deg"]``) with the version they belong to."""

    def __init__(self, values: dict[str, Any], version: int) -> None:
        self._values, self.version = values, version

    def __getitem__(self, name: str) -> Any:
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def changed(self, name: str) -> bool:
        return self._values[name] != BY_NAME[name].default

    def with_values(self, **values: Any) -> "Settings":
        """The same settings with some replaced: for what-ifs and tests; nothing is stored."""
        return Settings({**self._values, **{n: accepted(BY_NAME[n], v) for n, v in values.items()}}, self.version)


def defaults() -> Settings:
    return Settings({s.name: s.default for s in SETTINGS}, 0)


def accepted(setting: Setting, value: Any) -> Any:
    """The value in its kind, or a Problem that names the setting and its limits."""
    if setting.kind == "text":
        text = str(value).strip()[:500]
        if text and setting.form and not re.fullmatch(setting.form, text):
            raise Problem("setting_form", where=setting.name, value=text, example=setting.default)
        return text
    if setting.kind == "yes_no":
        return value in (True, 1, "1", "on", "yes", "si", "sí")
    if setting.kind == "choice":
        if value not in setting.choices:
            raise Problem("setting_choice", where=setting.name, value=str(value), choices=", ".join(setting.choices))
        return value
    try:
        number = float(str(value).replace(",", ".") if str(value).count(",") == 1 and "." not in str(value) else str(value).replace(",", ""))
    except ValueError:
        raise Problem("setting_not_number", where=setting.name, value=str(value)) from None
    if not (setting.low is None or number >= setting.low) or not (setting.high is None or number <= setting.high) or number != number:
        raise Problem("setting_out_of_range", where=setting.name, value=number, low=setting.low, high=setting.high, unit=Sentence(words_code("unit", setting.unit)) if setting.unit else "")
    return int(number) if setting.kind == "whole" else number


_pretended: ContextVar[tuple[str | None, Settings] | None] = ContextVar("pretended", default=None)


@contextmanager
def pretended(db: sqlite_utils.Database, values: Settings) -> Iterator[None]:
    """Inside, :func:`load` of this estate gives ``values``, for dry runs of code that reads settings by itself; :func:`change` refuses."""
    token = _pretended.set((path_of(db), values))
    try:
        yield
    finally:
        _pretended.reset(token)


def load(db: sqlite_utils.Database) -> Settings:
    """Defaults overlaid with the user's latest values; the version is the last change's number."""
    pretence = _pretended.get()
    if pretence is not None and pretence[0] == path_of(db):
        return pretence[1]
    values = {s.name: s.default for s in SETTINGS}
    version = 0
    for row in db.conn.execute("SELECT id, name, value FROM setting_value ORDER BY id"):
        version = row[0]
        if row[1] in BY_NAME:
            values[row[1]] = json.loads(row[2])
    return Settings(values, version)


def change(db: sqlite_utils.Database, values: dict[str, Any], who: str) -> Settings:
    """Store new values, all or none. Raises Problem ``setting_unknown`` or one of :func:`accepted`'s."""
    if _pretended.get() is not None:
        raise RuntimeError("settings are pretended here: a dry run changes nothing")
    now = clock.of(db).stamp()
    current = load(db)
    with atomic(db):
        for name, value in values.items():
            if name not in BY_NAME:
                raise Problem("setting_unknown", where=name)
            new = accepted(BY_NAME[name], value)
            if new != current[name]:
                db["setting_value"].insert({"name": name, "value": json.dumps(new), "set_at": now, "set_by": who})
    return load(db)


def history(db: sqlite_utils.Database, name: str) -> list[dict]:
    return list(db.query("SELECT value, set_at, set_by FROM setting_value WHERE name = ? ORDER BY id DESC", [name]))
