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
        return Settings({**self._values, **checked(values)}, self.version)


def defaults() -> Settings:
    return Settings({s.name: s.default for s in SETTINGS}, 0)


LONGEST_TEXT = 500
SHOWN = 40
"""Characters of a wrong value that its message repeats."""
PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?", re.ASCII)
COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)


def checked(values: dict[str, Any]) -> dict[str, Any]:
    """All of them in their kind; everything wrong at once (``settings_wrong`` with a part each; a single one as itself), or ``setting_unknown``."""
    out, wrong = {}, []
    for name, value in values.items():
        if name not in BY_NAME:
            raise Problem("setting_unknown", where=name)
        try:
            out[name] = accepted(BY_NAME[name], value)
        except Problem as problem:
            wrong.append(problem)
    if wrong:
        raise wrong[0] if len(wrong) == 1 else Problem("settings_wrong", n=len(wrong), parts=wrong)
    return out


def accepted(setting: Setting, value: Any) -> Any:
    """The value in its kind, or a Problem that names the setting and its limits."""
    if setting.kind == "text":
        text = str(value).strip()
        if len(text) > LONGEST_TEXT:
            raise Problem("setting_too_long", where=setting.name, n=len(text), most=LONGEST_TEXT)
        if text and setting.form and not re.fullmatch(setting.form, text):
            raise Problem("setting_form", where=setting.name, value=_short(text), example=setting.example or setting.default)
        return text
    if setting.kind == "yes_no":
        return value in (True, 1, "1", "on", "yes", "si", "sí")
    if setting.kind == "choice":
        if value not in setting.choices:
            raise Problem("setting_choice", where=setting.name, value=str(value), choices=", ".join(setting.choices))
        return value
    return _number(setting, str(value).strip().replace("−", "-"))


def _number(setting: Setting, text: str) -> float | int:
    told = {"where": setting.name, "value": _short(text), "low": setting.low, "high": setting.high, "unit": Sentence(words_code("unit", setting.unit)) if setting.unit else ""}
    numbers = _readings(text)
    if not numbers:
        raise Problem("setting_not_number" if text else "setting_empty", **told)
    fit = [n for n in numbers if (setting.low is None or n >= setting.low) and (setting.high is None or n <= setting.high)]
    if not fit:
        raise Problem("setting_out_of_range", **told)
    if len(fit) > 1:  # 1,000 may be a thousand or one: nobody guesses which
        raise Problem("setting_comma", where=setting.name, value=_short(text), whole=text.replace(",", ""), point=text.replace(",", "."))
    if setting.kind == "whole" and fit[0] != int(fit[0]):
        raise Problem("setting_not_whole", **told)
    return int(fit[0]) if setting.kind == "whole" else fit[0] + 0.0  # no minus zero


def _readings(text: str) -> list[float]:
    """The numbers a text may stand for: a decimal point or comma, commas between thousands; two where a comma may be either. None of ``nan``, ``inf``, ``--5``."""
    found = [float(text)] if PLAIN.fullmatch(text) else []
    found += [float(text.replace(",", ""))] if THOUSANDS.fullmatch(text) else []
    return found + ([float(text.replace(",", "."))] if COMMA.fullmatch(text) else [])


def _short(text: str) -> str:
    return text if len(text) <= SHOWN else text[: SHOWN - 1] + "…"


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
    """Store new values, all or none. Raises the Problems of :func:`checked`."""
    if _pretended.get() is not None:
        raise RuntimeError("settings are pretended here: a dry run changes nothing")
    now = clock.of(db).stamp()
    current = load(db)
    with atomic(db):
        for name, new in checked(values).items():
            if new != current[name]:
                db["setting_value"].insert({"name": name, "value": json.dumps(new), "set_at": now, "set_by": who})
    return load(db)


def history(db: sqlite_utils.Database, name: str) -> list[dict]:
    return list(db.query("SELECT value, set_at, set_by FROM setting_value WHERE name = ? ORDER BY id DESC", [name]))
