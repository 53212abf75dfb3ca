"""A list too long for one page: by planting year, each with its sums and its plots on demand, or as one list page by page.

Everything is a link, so it works without a script, by keyboard and in the browser's history; what is open is what prints.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Callable, Sequence
from urllib.parse import urlencode

from flask import request

AT_ONCE = 300
"""Plots up to which a page shows them all; a page of 5,000 weighed six megabytes."""
A_PAGE = 200
ONE = "one"
"""``list=one`` asks for one list in place of years."""


@dataclass(frozen=True)
class Year:
    """One planting year: ``n`` plots in all, ``rows`` of them shown (none while closed), ``href`` opens or closes it, ``more`` leads to all of them."""

    name: str
    mark: str
    n: int
    members: list[int]
    rows: list[int]
    open: bool
    href: str
    more: str


@dataclass(frozen=True)
class Arranged:
    """Either ``years``, or ``rows`` of one list from ``first`` to ``last`` of ``n`` with the addresses of the pages before and after."""

    n: int
    long: bool
    years: list[Year] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    first: int = 0
    last: int = 0
    before: str = ""
    after: str = ""


def arranged(order: Sequence[int], year_of: Callable[[int], str], one: bool) -> Arranged:
    """How this request shows the plots of ``order`` (indices, as sorted): few of them all at once; more by planting year, oldest first, or (``one``) by pages."""
    n = len(order)
    if n <= AT_ONCE:
        return Arranged(n, False, rows=list(order), first=min(1, n), last=n)
    if one:
        pages = -(-n // A_PAGE)
        at = min(max(_number(request.args.get("page", "")), 1), pages)
        first, last = (at - 1) * A_PAGE, min(at * A_PAGE, n)
        return Arranged(n, True, rows=list(order[first:last]), first=first + 1, last=last, before=_address(page=at - 1) if at > 1 else "", after=_address(page=at + 1) if at < pages else "")
    members: dict[str, list[int]] = {}
    for i in order:
        members.setdefault(year_of(i), []).append(i)
    wanted = set(request.args.get("open", "").split(","))
    names = sorted(members, key=lambda name: (not name.isdigit(), name))
    still = [name for name in names if name in wanted]
    years = []
    for name in names:
        is_open, inside = name in wanted, members[name]
        others = [y for y in still if y != name]
        years.append(Year(name, _mark(name), len(inside), inside, inside[:A_PAGE] if is_open else [], is_open,
                          f"{_address(open=','.join(others if is_open else [*others, name]), page=None)}#{_mark(name)}", _address(year=name, list=ONE, open=None, page=None) if len(inside) > A_PAGE else ""))
    return Arranged(n, True, years=years)


def _mark(year: str) -> str:
    return f"y{year if year.isdigit() else 0}"


def _address(**changes: str | int | None) -> str:
    """This page with some of its parameters changed (nothing leaves one out)."""
    args = {**request.args.to_dict(), **changes}
    return f"{request.path}?{urlencode({name: value for name, value in args.items() if value})}"


def _number(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 7 else 1
