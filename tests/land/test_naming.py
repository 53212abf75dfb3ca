"""A plot as people write it: code, name or both; what fits none or several is told with the nearest."""

import pytest

from webapp.land import naming
from webapp.problems import Problem

NAMES = {"VS-04": "El Tapia", "LA-03": "Ñandú", "LA-04": "Portón", "MT-01": "Portón", "VS-10": "Los Guajes, arriba"}


@pytest.mark.parametrize("text, code", [("VS-04", "VS-04"), (" vs-04 ", "VS-04"), ("El Tapia", "VS-04"), ("el  tapia", "VS-04"), ("El Tapia, VS-04", "VS-04"), ("nandu", "LA-03"), ("Portón, MT-01", "MT-01"), ("porton, la-04", "LA-04"),
                                        ("Los Guajes, arriba", "VS-10"), ("Los Guajes, arriba, VS-10", "VS-10")])
def test_code_name_or_both(text, code):
    assert naming.code_of(text, NAMES) == code


@pytest.mark.parametrize("text, problem, says", [("Porton", "plot_name_shared", "LA-04 y MT-01"), ("tapia", "plot_not_known_near", "El Tapia, VS-04"), ("VS-4", "plot_not_known_near", "El Tapia, VS-04"), ("guajes", "plot_not_known_near", "Los Guajes, arriba, VS-10"),
                                                 ("zzzzzzzz", "plot_not_known", "lista de tablas"), ("%$#", "plot_not_known", "lista de tablas"), ("x" * 5000, "plot_not_known", "lista de tablas")])
def test_what_fits_none_or_several_is_told_with_the_nearest(text, problem, says):
    with pytest.raises(Problem) as refused:
        naming.code_of(text, NAMES)
    assert refused.value.code == problem and says in refused.value.do("es") and len(refused.value.text("es")) < 400
    assert refused.value.what("en") and refused.value.do("en")


@pytest.mark.parametrize("code, why", [("VS-04", None), ("El Tapia 4", None), ("Ñ", None), ("1.2", None), ("50 %", None), ("A/1", "sign"), ("A\\1", "sign"), ("b?", "sign"), ("b#2", "sign"), (" A", "blank"), ("A ", "blank"), ("A\n1", "control"),
                                       ("A\u200b", "control"), ("A\x7f", "control"), ("..", "dots"), ("Ñ" * 41, "long"), ("Ñ" * 40, None)])
def test_what_may_be_a_code(code, why):
    assert naming.unfit(code) == why
    if why:
        with pytest.raises(Problem) as refused:
            naming.fit(code)
        assert all("VS-04" in refused.value.do(language) and refused.value.what(language) for language in ("es", "en"))
    else:
        naming.fit(code)
