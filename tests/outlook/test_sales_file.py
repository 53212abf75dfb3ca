"""Sales as offices write them, and what is no sales file at all."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.outlook import sales_file
from webapp.problems import Problem
from webapp.sentences import LANGUAGES

PLAIN = "market,category,class,month,litres\nnorte,full,unaged,2026-01,1200.5\nnorte,mixed,rested,2026-02,800\n"
SPANISH = "Mercado;Categoría;Clase;Mes;Litros\nNorte;100 %;Blanco;01/2026;1.200,5\nNorte;Mixto;Añejo;2026-02;800\n"


def refused(data: bytes, name: str = "ventas.csv", **kwargs) -> Problem:
    with pytest.raises(Problem) as caught:
        sales_file.read(data, name, **kwargs)
    for language in LANGUAGES:
        assert caught.value.text(language)
        assert all(part.text(language) for part in caught.value.parts)
    return caught.value


def test_plain():
    table = sales_file.read(PLAIN.encode(), "a.csv")
    assert table.kind == "sales" and table.notes == ()
    assert table.rows[0] == {"market": "norte", "category": "full", "class": "unaged", "month": "2026-01", "litres": 1200.5}


@pytest.mark.parametrize("encoding, said", [("utf-8", set()), ("utf-8-sig", set()), ("latin-1", {"outlook.file.encoding"}), ("cp1252", {"outlook.file.encoding"}), ("utf-16", {"outlook.file.encoding"})])
def test_spanish_with_semicolons_and_decimal_commas(encoding, said):
    table = sales_file.read(SPANISH.encode(encoding), "ventas.csv")
    assert table.rows == [{"market": "Norte", "category": "full", "class": "unaged", "month": "2026-01", "litres": 1200.5},
                          {"market": "Norte", "category": "mixed", "class": "aged", "month": "2026-02", "litres": 800.0}]
    assert {n.code for n in table.notes} == said | {"outlook.file.delimiter", "outlook.file.decimal_comma"}


@pytest.mark.parametrize("written, mark, value", [
    ("1,234.5", ",", 1234.5), ("1234.5", ";", 1234.5), ("1234,5", ";", 1234.5), ("1.234,5", ";", 1234.5), ("12,500", ";", 12500.0),
    ("12500", ";", 12500.0), ("1 234", ";", 1234.0), ("1e3", ";", 1000.0), ("0", ";", 0.0), ("1234,567", ";", 1234.567)])
def test_numbers(written, mark, value):
    quoted = f'"{written}"' if mark == "," else written
    table = sales_file.read(mark.join(["market", "category", "class", "month", "litres"]).encode() + f"\nN{mark}full{mark}unaged{mark}2026-01{mark}{quoted}\n".encode(), "a.csv")
    assert table.rows[0]["litres"] == pytest.approx(value)


@pytest.mark.parametrize("written", ["2026-10", "2026/10", "10/2026", "2026-10-31", "31/10/2026", "oct-2026", "Octubre 2026"])
def test_months(written):
    assert sales_file.month_of(written) == "2026-10"


@pytest.mark.parametrize("written", ["", "2026", "2026-13", "00/2026", "ayer", "2026-10-31-1", "99999-10"])
def test_no_months(written):
    with pytest.raises(Problem):
        sales_file.month_of(written)


@pytest.mark.parametrize("data, code", [
    (b"", "sales_file_empty"), (b"  \n\n", "sales_file_empty"), (PLAIN.splitlines()[0].encode(), "sales_file_empty"),
    (b"PK\x03\x04" + b"a" * 50, "sales_file_not_text"), (b"%PDF-1.7 x", "sales_file_not_text"), (b"a,b\x00c\n1,2", "sales_file_not_text"),
    (b"uno,dos\n1,2\n", "sales_file_headings"), (b"market,market,category,class,month,litres\na,a,full,unaged,2026-01,1", "sales_file_headings"),
    (b"x" * (sales_file.LARGEST_BYTES + 1), "sales_file_too_big")])
def test_no_sales_file(data, code):
    assert refused(data).code == code


@pytest.mark.parametrize("cells, code", [
    ("N,full,unaged,2026-01,-5", "sales_row_number"), ("N,full,unaged,2026-01,nan", "sales_row_number"), ("N,full,unaged,2026-01,inf", "sales_row_number"),
    ("N,full,unaged,2026-01,", "sales_row_number"), ("N,full,unaged,2026-01,1e99", "sales_row_negative"), ("N,full,unaged,2026-13,5", "sales_row_month"),
    ("N,half,unaged,2026-01,5", "sales_row_category"), ("N,full,vodka,2026-01,5", "sales_row_class"), (",full,unaged,2026-01,5", "sales_row_blank"), ("N,full", "sales_row_cells")])
def test_bad_rows_are_all_named(cells, code):
    problem = refused((PLAIN + cells + "\n" + "N,full,unaged,2026-03,abc\n").encode())
    assert problem.code == "sales_file_rows" and problem.params["n"] == 2
    expected = "sales_row_negative" if cells.endswith(",-5") else code
    assert problem.parts[0].code == expected and problem.parts[0].where.endswith(":4")
    assert problem.parts[1].where.endswith(":5")


def test_the_same_month_twice():
    assert refused((PLAIN + PLAIN.splitlines()[1]).encode()).parts[0].code == "sales_row_twice"


def test_stock_and_purchases_by_their_headings():
    stock = sales_file.read("categoría,clase,años,litros\n100 %,extra añejo,2,5000\n".encode(), "barricas.csv")
    assert stock.kind == "stock" and stock.rows == [{"category": "full", "class": "long_aged", "age_years": 2, "litres": 5000.0}]
    bought = sales_file.read("año,toneladas,pagado\n2025,4200,\n2026,3900,51000000\n".encode(), "compras.csv")
    assert bought.kind == "bought" and [r["paid_mxn"] for r in bought.rows] == [None, 51e6]


def test_own_classes():
    own = sales_file.own_classes("Cristalino=1; solera = 3,5")
    assert own == {"cristalino": 1.0, "solera": 3.5}
    table = sales_file.read(PLAIN.replace("unaged", "Cristalino").encode(), "a.csv", own)
    assert table.rows[0]["class"] == "cristalino"
    for text in ("cristalino", "=1", "x=-1", "x=uno"):
        with pytest.raises(Problem):
            sales_file.own_classes(text)


@given(st.binary(max_size=300))
def test_anything_at_all_is_read_or_refused(data):
    try:
        table = sales_file.read(data, "x.csv")
    except Problem as problem:
        assert problem.code.startswith("sales_file")
    else:
        assert table.rows


@given(st.text(max_size=80), st.text(max_size=20))
def test_any_cell_is_read_or_named(market, litres):
    import csv
    import io

    body = io.StringIO()
    csv.writer(body).writerows([["market", "category", "class", "month", "litres"], [market, "full", "unaged", "2026-01", litres]])
    try:
        row = sales_file.read(body.getvalue().encode("utf-8", "surrogatepass"), "x.csv").rows[0]
        assert row["litres"] >= 0 and row["market"]
    except Problem as problem:
        assert problem.code.startswith("sales_file")
