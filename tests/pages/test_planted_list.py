"""A list too long for a page: by planting year with whole sums, a year opened by its link, or one list by pages; each plot once."""

from __future__ import annotations

import re
from urllib.parse import parse_qs, urlsplit

import html5lib
import pytest

from webapp.pages import planted_list


@pytest.fixture()
def region(sign_in, monkeypatch):
    """The demo as if it were too large to be shown at once."""
    monkeypatch.setattr(planted_list, "AT_ONCE", 30)
    monkeypatch.setattr(planted_list, "A_PAGE", 12)
    return sign_in("agronoma")


def text(client, path: str) -> str:
    reply = client.get(path)
    assert reply.status_code == 200, path
    return reply.get_data(as_text=True)


def sound(body: str) -> bool:
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(body)
    return not parser.errors


def codes(body: str) -> list[str]:
    return re.findall(r'<tr data-code="([^"]+)"', body)


def years(body: str) -> dict[str, dict]:
    """Year → its cells, its link's address (entities undone) and whether it is open."""
    found = {}
    for year, row in re.findall(r'<tr data-year="([^"]+)">(.*?)</tr>', body, re.S):
        link = re.search(r'<a class="year" id="[^"]+" href="([^"]+)" aria-expanded="(true|false)"', row)
        found[year] = {"cells": re.findall(r'<td class="n"[^>]*>([^<]*)</td>', row), "href": link[1].replace("&amp;", "&"), "open": link[2] == "true"}
    return found


def whole(body: str) -> list[str]:
    return re.findall(r'<td class="n"[^>]*>([^<]*)</td>', re.search(r'<tr class="us">.*?</tr>', body, re.S)[0])


def number(cell: str) -> float:
    return float(cell.replace(",", ""))


def ripe(cell: str) -> tuple[int, int]:
    """(ripe, maybe) of "12 + 3?"."""
    parts = cell.split(" + ")
    maybe = sum(int(p[:-1]) for p in parts if p.endswith("?"))
    return sum(int(p) for p in parts if not p.endswith("?")), maybe


def test_a_large_estate_goes_by_year_and_its_sums_stay_whole(region, sign_in):
    closed = text(region, "/ripeness")
    by_year = years(closed)
    assert sound(closed) and codes(closed) == [] and len(by_year) > 4 and not any(y["open"] for y in by_year.values())
    total = whole(closed)
    for k in (0, 2, 4):
        assert sum(number(y["cells"][k]) for y in by_year.values()) == number(total[k])
    assert [sum(pair) for pair in zip(*(ripe(y["cells"][1]) for y in by_year.values()))] == list(ripe(total[1]))
    assert abs(sum(number(y["cells"][3]) for y in by_year.values()) - number(total[3])) <= len(by_year)
    title = re.sub(r"</?span[^>]*>", "", re.search(r"<h1>(.*?)</h1>", closed)[1])
    assert f"Maduras hoy: {ripe(total[1])[0]} de {total[0]} tablas" in title and f"{total[2]} más" in title
    stands = number(re.search(r'id="mass-all">([\d,]+) t', text(region, "/estate"))[1])
    assert abs(stands - number(total[3])) <= 0.002 * stands, "the estate's page says the same tonnes"


def test_a_year_opens_and_closes_by_its_link(region):
    closed = text(region, "/ripeness?by=name")
    year, told = max(years(closed).items(), key=lambda item: number(item[1]["cells"][0]))
    opened = text(region, told["href"].split("#")[0])
    assert told["href"].split("#")[1] == f"y{year}" and f'id="y{year}"' in opened, "the browser goes to the link that was pressed"
    n = int(number(told["cells"][0]))
    assert sound(opened)
    assert len(codes(opened)) == min(n, 12) and whole(opened) == whole(closed)
    assert [y for y, one in years(opened).items() if one["open"]] == [year]
    other = next(y for y in years(opened) if y != year)
    both = text(region, years(opened)[other]["href"].split("#")[0])
    assert {y for y, one in years(both).items() if one["open"]} == {year, other}
    only_other = text(region, years(both)[year]["href"].split("#")[0])
    assert [y for y, one in years(only_other).items() if one["open"]] == [other]
    assert "open=" in re.search(r'<div class="foot-line"><a href="([^"]+)"', opened)[1], "the other language keeps what is open"
    if n > 12:
        more = re.search(r'<a class="tap" href="([^"]+)">Van 12 de', opened)[1].replace("&amp;", "&")
        assert parse_qs(urlsplit(more).query)["year"] == [year]


def test_pages_of_one_list_hold_every_plot_once_and_in_order(region, sign_in, monkeypatch):
    seen, path, pages = [], "/ripeness?list=one&by=visit", 0
    while path:
        body = text(region, path)
        assert len(codes(body)) <= 12 and (pages or sound(body))
        seen += codes(body)
        pages += 1
        after = re.search(r'rel="next" href="([^"]+)"', body)
        path = after[1].replace("&amp;", "&") if after else ""
    monkeypatch.setattr(planted_list, "AT_ONCE", 10_000)
    at_once = codes(text(region, "/ripeness?by=visit"))
    assert seen == at_once and len(set(seen)) == len(seen) and pages == -(-len(seen) // 12)
    for odd in ("page=0", "page=99999999999", "page=-3", "page=%C2%B2", "endpoint=x&_external=1"):
        assert region.get(f"/ripeness?list=one&{odd}").status_code == 200
    assert "Ninguna tabla cumple" in text(region, "/ripeness?zone=ninguna")


def test_the_full_table_goes_by_year_with_the_maps_own_sums(region, monkeypatch):
    closed, drawn = text(region, "/map/table?layer=chance&week=2026-W50"), text(region, "/map?layer=chance&week=2026-W50")
    on_map = [re.findall(r'<td class="n">([^<]*)</td>', row) for row in re.findall(r'<tr data-year="\d+">(.*?)</tr>', drawn, re.S)]
    assert [y["cells"] for y in years(closed).values()] == on_map and codes(closed) == []
    opened = text(region, next(iter(years(closed).values()))["href"].split("#")[0])
    assert sound(opened) and "week=2026-W50" in opened and 0 < len(codes(opened)) <= 12
    monkeypatch.setattr(planted_list, "AT_ONCE", 12)
    ripe_then = text(region, "/map/table?only=ripe&week=2026-W50")
    assert 'rel="next"' in ripe_then and len(codes(ripe_then)) == 12


def test_the_land_goes_by_year_too(region):
    closed = text(region, "/land")
    assert sound(closed) and "/plots/" not in re.search(r'<main.*?</main>', closed, re.S)[0]
    assert sum(number(y["cells"][0]) for y in years(closed).values()) == number(whole(closed)[0])
    assert sum(number(y["cells"][1]) for y in years(closed).values()) == pytest.approx(number(whole(closed)[1]), abs=0.06 * len(years(closed)))
    opened = text(region, next(iter(years(closed).values()))["href"].split("#")[0])
    assert sound(opened) and 0 < opened.count('<th scope="row"><a href="/plots/') <= 12


def test_a_stored_moment_is_told_as_the_estates_own_day(demo_site):
    from webapp.pages import layout

    with demo_site.test_request_context("/"):
        assert [layout.short_day(at) for at in ("2026-11-24T02:44:57Z", "2026-11-24T08:00:00-06:00", "2026-11-24")] == ["23 nov", "24 nov", "24 nov"]
