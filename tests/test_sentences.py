"""Both languages are complete: same codes, same placeholders, and every code the code uses exists."""

from __future__ import annotations

import re
import string
from pathlib import Path

import pytest

from webapp.config import SETTINGS, words_code
from webapp.sentences import catalogue

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
