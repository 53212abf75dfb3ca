"""Sentences found again on a page: from the catalogue's text back to the numbers that were put into it."""

from __future__ import annotations

import html
import re
from functools import lru_cache

from webapp.sentences import catalogue

LEAST_LETTERS = 12
NUMBER = re.compile(r"[-+−]?\d[\d,]*(?:\.\d+)?")


def text_of(page: str) -> str:
    """A page's words in one line, without marks, scripts and pictures."""
    bare = re.sub(r"(?s)<(script|style)\b.*?</\1>", " ", page)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", bare))).replace(" .", ".")


def _counted(piece: str) -> list[str]:
    """A count with its noun (``{days:count.days}``) as a placeholder and the noun that it puts there."""
    hit = re.fullmatch(r"\{(\w+):(count\.\w+)\}", piece)
    if not hit:
        return [piece]
    one, many = (words.removeprefix("{n}") for words in catalogue("es")[hit[2]])
    return ["{" + hit[1] + "}", f"(?:{many}|{one})"]


@lru_cache(maxsize=None)
def patterns(code: str) -> list[tuple[re.Pattern, list[str]]]:
    """Per form (one, other): what to look for, and the placeholders in their order."""
    words = catalogue("es")[code]
    out = []
    for form in words if isinstance(words, tuple) else (words,):
        parts = [part for piece in re.split(r"(\{[^}]+\})", form) for part in _counted(piece)]
        if sum(c.isalpha() for p in parts if not p.startswith("{") for c in p) >= LEAST_LETTERS:
            # at either end a placeholder stands for one word: nothing tells where a longer one begins or stops
            outer = {1 if not parts[0] else 0, len(parts) - 2 if not parts[-1] else 0} - {0}
            what = "".join((r"(\S+)" if k in outer else r"(.{1,160}?)") if p.startswith("{") else p if p.startswith("(?:") else re.escape(p) for k, p in enumerate(parts))
            out.append((re.compile(what), [re.match(r"\{([a-z_0-9]+)", p)[1] for p in parts if p.startswith("{")]))
    return out


def found(text: str, code: str) -> dict[str, float] | None:
    """The numbers of the first sentence of this code, by placeholder; None when the page does not say it."""
    for pattern, names in patterns(code):
        hit = pattern.search(text)
        if hit:
            told = {} if "n" in names else {"n": 1.0}  # "one visit" needs no figure
            for name, value in zip(names, hit.groups()):
                number = NUMBER.match(value.strip())
                if number:
                    told[name] = float(number[0].replace(",", "").replace("−", "-"))
            return told
    return None
