"""A plot as people write it: its code, its name, or both with a comma between."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from difflib import get_close_matches

from ..problems import Problem
from ..sentences import Sentence

MOST_NEAR = 4
LONGEST = 80
"""Letters of what was typed that are compared and told."""


LONGEST_CODE = 40
UNFIT = "/\\?#"
"""Signs that part an address: a page's link would lead elsewhere."""


def unfit(code: str) -> str | None:
    """Why a text can be no plot's code: ``sign`` (one of :data:`UNFIT`), ``dots`` alone, ``blank`` at an end, ``control`` for what no screen shows, ``long``; None where it can."""
    if any(sign in code for sign in UNFIT):
        return "sign"
    if any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") for c in code):
        return "control"
    if code.strip() != code:
        return "blank"
    if code and not code.strip("."):
        return "dots"
    return "long" if len(code) > LONGEST_CODE else None


def fit(code: str) -> None:
    """Problem ``plot_code_unfit`` where a new plot can't have the code."""
    if why := unfit(code):
        raise Problem("plot_code_unfit", where=code[:LONGEST_CODE], why=Sentence(f"land.code.{why}", {"longest": LONGEST_CODE}), longest=LONGEST_CODE)


def folded(text: str) -> str:
    """Lower case, without accents, single spaces: how codes and names are compared."""
    base = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return re.sub(r"\s+", " ", base).strip().lower()


def code_of(text: str, names: Mapping[str, str]) -> str:
    """The code that ``text`` means among ``names`` (code → name).

    Problem ``plot_name_shared`` when several plots have that name, ``plot_not_known`` (404) with the nearest codes and names otherwise.
    """
    text = text.strip()
    if text in names:
        return text
    wanted = folded(text[:LONGEST])
    by_code = {folded(code): code for code in names}
    for part in (wanted, wanted.rpartition(",")[2].strip()):
        if part in by_code:
            return by_code[part]
    same = [code for code, name in names.items() if folded(name) == wanted]
    if len(same) == 1:
        return same[0]
    if same:
        raise Problem("plot_name_shared", where=text[:LONGEST], codes=sorted(same)[:MOST_NEAR * 3])
    near = _near(wanted, by_code, names)
    told = {"where": text[:LONGEST], "near": [f"{names[code]}, {code}" for code in near]}
    raise Problem("plot_not_known_near" if near else "plot_not_known", status=404, **told)


def _near(wanted: str, by_code: dict[str, str], names: Mapping[str, str]) -> list[str]:
    """Codes of plots whose code or name holds what was typed, or is spelt nearly so; the nearest first."""
    if not wanted:
        return []
    by_name: dict[str, str] = {}
    for code, name in names.items():
        by_name.setdefault(folded(name), code)
    spelt = [by_code.get(match) or by_name[match] for match in get_close_matches(wanted, [*by_code, *by_name], n=MOST_NEAR, cutoff=0.6)]
    held = [code for word, code in [*by_name.items(), *by_code.items()] if len(wanted) > 2 and wanted in word]
    return list(dict.fromkeys([*held[:MOST_NEAR], *spelt]))[:MOST_NEAR]
