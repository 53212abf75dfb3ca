"""What waits, in groups: records of one reason, doubts of one kind; few enough to look over, each group a link to all that is in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Sequence

from flask import request, url_for

from .. import clock, dictionary
from ..survey import held_service
from ..survey.held_groups import Group
from . import record_words
from .access import db
from .layout import words

A_PAGE, GROUPS_AT_ONCE, DOUBTS_AT_ONCE, OUTLINES_AT_ONCE, ALL_OPEN = 25, 8, 10, 5, 4
"""Forms on a page of their own; groups, doubts of one kind, and outlines of files on the first page; up to how many doubts in all stand open."""


@dataclass(frozen=True)
class Kind:
    """Doubts of one ``code``: ``n`` open in all, those ``shown``, how many propose, whether they stand ``open``; ``more`` leads to all of them."""

    code: str
    n: int
    shown: list[dict]
    proposed: int
    open: bool
    more: str


@dataclass(frozen=True)
class Part:
    """Some of a long list: ``rows`` from ``first`` to ``last`` of ``n``, addresses of the pages before and after; ``long`` when there are such."""

    rows: list
    first: int
    last: int
    n: int
    before: str
    after: str

    @property
    def long(self) -> bool:
        return bool(self.before or self.after)


def part(rows: Sequence, at_once: int, **address: Any) -> Part:
    """The page of ``rows`` that this request asks for (``page``, from 1); ``address`` what else names the list."""
    pages = max(-(-len(rows) // at_once), 1)
    asked = request.args.get("page", "")
    at = min(max(int(asked) if asked.isdecimal() and len(asked) < 7 else 1, 1), pages)
    first, last = (at - 1) * at_once, min(at * at_once, len(rows))
    to = lambda n: url_for("held.page", **{name: value for name, value in address.items() if value}, page=n)  # noqa: E731
    return Part(list(rows[first:last]), min(first + 1, last), last, len(rows), to(at - 1) if at > 1 else "", to(at + 1) if at < pages else "")


def kinds_of(doubts: list[dict]) -> list[Kind]:
    """Doubts by kind, in the order in which the first of each came."""
    found: dict[str, list[dict]] = {}
    for doubt in doubts:
        found.setdefault(doubt["code"], []).append(doubt)
    wanted = request.values.get("open", "")
    out = []
    for code, all_of in found.items():
        shown = all_of[:DOUBTS_AT_ONCE]
        out.append(Kind(code, len(all_of), shown, sum(bool(d["proposal"]) for d in shown), len(doubts) <= ALL_OPEN or code == wanted,
                        url_for("held.page", doubts=code) if len(all_of) > len(shown) else ""))
    return out


def told(row: dict) -> list[dict[str, str]]:
    """A held record's own fields and its time in words, without its plot."""
    return _in_words(row, {name: value for name, value in row["shown"].items() if name != "plot"})


def proposal_words(group: Group) -> dict[str, Any] | None:
    """What is proposed for the first of a group that has a proposal, and whether it is the ``same`` for all; None where nothing is."""
    with_one = [row for row in group.rows if row["proposal"]]
    if not with_one:
        return None
    row = with_one[0]
    said = [f"{one['label']}: {one['value']}" for one in _in_words(row, row["proposal"])]
    return {"words": " · ".join(said), "same": all(other["proposal"] == row["proposal"] for other in with_one), "n": len(with_one), "plot": row["proposal"].get("plot", "")}


def _in_words(row: dict, fields: dict[str, Any]) -> list[dict[str, str]]:
    from flask import g

    return record_words.told({"kind": row["kind"], **fields}, None, g.language)


def around(group: Group) -> dict[str, Any]:
    """What a group whose clock was off shows beside the field for its day: when the same phone noted before and after it, and when it most likely began."""
    if not group.may_move:
        return {}
    before, after = held_service.noted_around(db(), group)
    return {"before": before, "after": after, "begin": held_service.proposed_begin(db(), group)}


def for_input(value: Any) -> str:
    """A moment as a field for day and hour wants it, in the estate's time; "" where it is none."""
    try:
        at = value if isinstance(value, datetime) else datetime.fromisoformat(str(value).replace("Z", "+00:00"))
        return f"{at.astimezone(clock.of(db()).zone) if at.tzinfo else at:%Y-%m-%dT%H:%M:%S}"
    except (ValueError, OverflowError):
        return ""


def name_of(group: Group) -> str:
    """What a group is called: its plot and how many, or what the one is."""
    first = group.first
    plot = first["plot_name"] or words("pages.held.no_plot")
    if len(group.rows) > 1:
        return words("pages.held.group", plot=plot, n=len(group.rows))
    return words("pages.held.single", plot=plot, kind=kind_of(first["kind"]))


def kind_of(kind: str) -> str:
    from flask import g

    return dictionary.kinds()[kind].label[g.language] if kind in dictionary.kinds() else kind or "–"
