"""The method page derives the model in symbols in both languages, from the code's own numbers, and lists every constant and every field."""

from __future__ import annotations

import html
import re
from xml.etree import ElementTree

import pytest

from webapp import dictionary
from webapp.pages.formulas import mathml
from webapp.pages.method_sections import SECTIONS, numbers
from webapp.ripeness import constants as ripeness
from webapp.sentences import catalogue


def drawn(source: str) -> str:
    """The text of a formula, signs in order."""
    return "".join("".join(ElementTree.fromstring(part).itertext()) for part in re.findall(r"<math.*?</math>", mathml(source)))


def test_the_notation_nests_and_refuses_what_it_does_not_know():
    assert drawn(r"\frac{σ_v^2 + 1}{\sqrt{n_{ij}}} \\ = \hat{θ}′ \op{log} 5.25") == "σv2+1nij=θ^′log5.25"
    tree = ElementTree.fromstring(mathml(r"x_i^2"))
    assert [child.tag for child in tree.iter()] == ["math", "mrow", "msubsup", "mi", "mi", "mn"]
    assert mathml(r"a \\ b").count("<math") == 2, "a narrow screen may break there"
    assert "&lt;" in mathml("a < b")
    for wrong in (r"\frac{a}", r"{a", r"\beta", r"x_"):
        with pytest.raises(ValueError):
            mathml(wrong)


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_model_is_derived_in_symbols(sign_in, language):
    page = sign_in("jefa").get(f"/method?lang={language}").get_data(as_text=True)
    assert page.count("<math") > 80
    for part in re.findall(r"<math.*?</math>", page):
        ElementTree.fromstring(part)  # well formed
    said = html.unescape(page)
    assert not re.search(r"\{[a-z_0-9]+(:[^}]*)?\}", said), "no place left unfilled"
    for name, _ in SECTIONS:
        assert f'<h2 id="{name}">' in page
    for symbol in ("f(a)", "g(t)", "pif′(a)", "oi(t)", "hi(t)"):
        assert symbol in "".join(re.sub(r"<[^>]+>", "", part) for part in re.findall(r"<math.*?</math>", page)), symbol
    for source in ("Patterson", "Särndal", "Bautista-Justo", "Zúñiga-Estrada", "Gneiting", "1930"):
        assert source in said
    assert f"{float(ripeness.SHOCK_AHEAD_DEG):g} °Bx" in said
    words = {"es": "supuesto", "en": "assumption"}[language]
    assert said.count(words) > 20
    for kind in dictionary.kinds().values():
        for field in kind.fields:
            assert f"<code>{field.name}</code>" in page and html.escape(field.label[language], quote=False) in page or field.label[language] in said, field.name


def test_numbers_in_sentences_come_from_the_code():
    """Where a constant stands in a sentence, its value is put there when the page is made."""
    known = numbers()
    assert known["shock_weeks"] == float(ripeness.SHOCK_WEEKS) and known["eye_sd"] == float(ripeness.EYE_SD)
    for _, items in SECTIONS:
        for kind, what in items:
            codes = what if kind == "list" else (what,) if kind == "say" else ()
            for code in codes:
                for language in ("es", "en"):
                    catalogue(language)[f"pages.method.{code}"].format(**known)
