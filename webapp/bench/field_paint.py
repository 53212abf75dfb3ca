"""How soon a phone shows something, and how soon it can be used: first visit on a poor line, and again with the office gone."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from . import field_office, field_phone

VISITS = 7
FIRST_MS, REPEAT_MS = 1200.0, 400.0


def measure(estate: Path, folder: Path, visits: int = VISITS) -> dict[str, float]:
    """ms to first contentful paint and to the usable screen: median and worst of first visits (each a new profile, 4x CPU, 150 ms / 1.6 Mbit)
    and of repeats (the server stopped, its port closed, 4x CPU): in a browser that runs, its page closed and its service worker stopped, which the
    target is for; and in a browser opened anew, whose own start on the same cores is in the time. The baselines are a page of one line from the same
    server at the same throttling, and one from disk in a browser opened anew: what the browser itself takes."""
    first, usable, bare, again, again_usable, anew, bare_anew = [], [], [], [], [], [], []
    with field_phone.driver() as running:
        with field_office.opened(estate) as (_, office):
            for visit in range(visits):
                with field_phone.profile(running, folder / f"bare-{visit}") as context:
                    page = context.pages[0]
                    field_phone.slow(page, road=field_phone.ROAD)
                    page.goto(f"{office.address}/field/manifest.webmanifest", wait_until="commit")
                    bare.append(field_phone.first_paint_ms(page))
                with field_phone.profile(running, folder / f"paint-{visit}") as context:
                    context.add_init_script(field_phone.USABLE)
                    page = context.pages[0]
                    field_phone.slow(page, road=field_phone.ROAD)
                    page.goto(f"{office.address}/field/", wait_until="commit")
                    first.append(field_phone.first_paint_ms(page))
                    usable.append(field_phone.usable_ms(page))
                    field_phone.kept(page)
            address = office.address
        line = folder / "line.html"
        line.write_text("<!doctype html><title>.</title><h1>Abriendo…</h1>")
        for visit in range(visits):
            with field_phone.profile(running, folder / f"bare-{visit}") as context:
                page = context.pages[0]
                field_phone.slow(page)
                page.goto(line.as_uri(), wait_until="commit")
                bare_anew.append(field_phone.first_paint_ms(page))
            with field_phone.profile(running, folder / f"paint-{visit}") as context:
                context.add_init_script(field_phone.USABLE)
                page = context.pages[0]
                field_phone.slow(page)
                page.goto(f"{address}/field/", wait_until="commit")
                anew.append(field_phone.first_paint_ms(page))
                field_phone.usable_ms(page)
                page = field_phone.put_away(context, page)
                field_phone.slow(page)
                page.goto(f"{address}/field/", wait_until="commit")
                again.append(field_phone.first_paint_ms(page))
                again_usable.append(field_phone.usable_ms(page))
    out = {name: float(how(values)) for name, values, how in (
        ("first_ms", first, np.median), ("first_worst_ms", first, max), ("usable_ms", usable, np.median), ("usable_worst_ms", usable, max),
        ("bare_page_ms", bare, np.median), ("bare_anew_ms", bare_anew, np.median), ("anew_ms", anew, np.median), ("anew_worst_ms", anew, max),
        ("repeat_ms", again, np.median), ("repeat_worst_ms", again, max), ("repeat_usable_ms", again_usable, np.median), ("repeat_usable_worst_ms", again_usable, max))}
    return {"met": out["first_ms"] <= FIRST_MS and out["repeat_ms"] <= REPEAT_MS, **out, "visits": float(visits), "target_ms": FIRST_MS, "repeat_target_ms": REPEAT_MS}

