"""Both languages are complete: same codes, same placeholders, and every code the code uses exists."""

from __future__ import annotations

import re
import string
from pathlib import Path

import pytest

from webapp.config import SETTINGS, words_code
from webapp.sentences import catalogue, say

ROOT = Path(__file__).parent.parent
PLACE = re.compile(r"""(?:say|words|text|Sentence|Problem)\(\s*["']([a-z_0-9]+(?:\.[a-z_0-9]+)*)["']\s*[,)]""")


def placeholders(message) -> set[str]:
    texts = message if isinstance(message, tuple) else (message,)
    return {name for words in texts for _, name, _, _ in string.Formatter().parse(words) if name}


def test_same_codes_in_both_languages():
    es, en = set(catalogue("es")), set(catalogue("en"))
    assert not es - en, f"missing in English: {sorted(es - en)}"
    assert not en - es, f"missing in Spanish: {sorted(en - es)}"


def test_same_placeholders_and_no_empty_words():
    es, en = catalogue("es"), catalogue("en")
    for code in es:
        assert es[code] and en[code] and all(es[code]) and all(en[code]), f"{code} is empty"
        assert placeholders(es[code]) - {"n"} == placeholders(en[code]) - {"n"}, code


def test_every_setting_has_words():
    missing = [f"setting.{s.name}" for s in SETTINGS if f"setting.{s.name}" not in catalogue("es")]
    missing += [f"setting.{s.name}.help" for s in SETTINGS if f"setting.{s.name}.help" not in catalogue("es")]
    assert not missing, missing


def test_units_and_sources_of_settings_have_words():
    """config.py keeps them in English beside the number; the English catalogue says the same, the Spanish one translates."""
    for setting in SETTINGS:
        for kind in ("unit", "source"):
            text = getattr(setting, kind)
            if text:
                code = words_code(kind, text)
                assert catalogue("en")[code].replace("{{", "{").replace("}}", "}") == text, f"{setting.name}: {code}"
                assert catalogue("es")[code], code


@pytest.mark.parametrize("place", sorted(p.relative_to(ROOT).as_posix() for p in (ROOT / "webapp").rglob("*") if p.suffix in (".py", ".html")))
def test_codes_in_use_exist(place):
    source = (ROOT / place).read_text()
    es = catalogue("es")
    for code in PLACE.findall(source):
        if "." in code:
            assert code in es, f"{place} says {code!r}, which no catalogue holds"
    if place.endswith(".py"):
        for code in re.findall(r"""Problem\(\s*["']([a-z_0-9]+)["']""", source):
            assert f"problem.{code}.what" in es and f"problem.{code}.do" in es, f"{place}: Problem {code!r} has no words"


def test_counts_have_their_noun_in_the_number_that_goes_with_them():
    """Of the sentence's own ``n`` by its plural form, of any other count by ``{days:count.days}``; never "1 plants", "1 plantas"."""
    assert say("ripeness.why.visits", "en", n=1, days=1, plants=1) == "One round, 1 day ago, on 1 plant."
    assert say("ripeness.why.visits", "es", n=3, days=40, plants=12.0) == "3 muestreos; el último hace 40 días, en 12 plantas."
    assert say("pages.orders.title", "es", week="2026-W48", n=1, mass_t=20) == "2026-W48: 1 cuadrilla corta 20 t"
    assert say("survey.doubt.beyond_registered.what", "en", plants=12345, parcel="P", registered=1).startswith("12,345 plants")
    assert say("tonnage.how.loads", "es", loads=1, n=None).startswith("La piña se conoce por 1 viaje pesado y –")


@pytest.mark.parametrize("language", ["es", "en"])
def test_no_sentence_says_one_of_many(language):
    """With every count 1, no noun of the list of counts stands in the plural after it; the phone says its own."""
    nouns = {words[1].removeprefix("{n} ") for code, words in catalogue(language).items() if code.startswith("count.")}
    many = re.compile(r"\{\w+(?::,|:,\.0f|:\.0f)?\} (?:" + "|".join(sorted(map(re.escape, nouns), key=len, reverse=True)) + r")\b")
    for code, words in catalogue(language).items():
        if not code.startswith(("phone.", "bench.", "pages.method", "believed.", "unit.", "source.", "setting", "constant.")):
            text = words if isinstance(words, str) else words[0]
            assert not (found := many.search(text)), (code, found and found[0])
