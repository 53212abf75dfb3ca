"""A film strip of one morning on the phone: ``python -m tests.browser.film FOLDER [--language en]``.

A sampler's morning and a cutting crew's, on the demo estate, phone size, every step as a picture: to be
looked at, not compared. The office is a real server; it is stopped (its port checked closed) while the
crew is in the canyon and comes back for the sending.
"""

from __future__ import annotations

import argparse
import tempfile
from math import cos, hypot, radians
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browsers import ARGS, needed
from webapp.cutting import service as cutting
from webapp.database import backup, open_estate, rows
from webapp.land import service as land
from webapp.people import service as people

from . import hand
from .office import Office

SIZE = {"width": 412, "height": 823}
M_PER_DEG, STEP_M = 111_195, 10
READINGS = ("24.2", "22.8", "25.5", "21.0", "26.1", "24.0", "23.3", "22.4", "25.0", "23.7")


def demo(path: Path):
    """The demo estate with one week of orders published."""
    from webapp.commands.seeding import demo_estate
    from webapp.work import estimates

    db = open_estate(path, create=True)
    demo_estate(db)
    estimates(db)
    cutting.publish(db, cutting.make_plan(db, seconds=8), "prueba")
    return db


class Film:
    def __init__(self, page, folder: Path) -> None:
        self.page, self.folder, self.number = page, folder, 0
        folder.mkdir(parents=True, exist_ok=True)

    def shot(self, name: str, whole: bool = False) -> None:
        self.number += 1
        self.page.wait_for_timeout(150)
        self.page.screenshot(path=self.folder / f"{self.number:02d}-{name}.png", full_page=whole)


def inside(db, code: str) -> tuple[float, float]:
    """(longitude, latitude) well within a plot."""
    from webapp.land import shapes

    spot = shapes.parse(land.outlines(db, [code])[code]).representative_point()
    return spot.x, spot.y


def phone(browser, lon: float, lat: float):
    context = browser.new_context(viewport=SIZE, locale="es-MX", has_touch=True, device_scale_factor=1, color_scheme="light",
                                  geolocation={"longitude": lon, "latitude": lat, "accuracy": 6}, permissions=["geolocation"])
    return context


def enrol(page, office, db, crew: str, name: str, role: str, language: str, film: Film) -> None:
    page.goto(f"{office.address}/field/#enrol={people.new_device(db, 'Teléfono 4', crew, 'prueba')[1]}")
    page.wait_for_selector("#name")
    if language == "en":
        page.click("#other-language")
        page.wait_for_function("() => document.documentElement.lang.startsWith('en')")
    page.fill("#name", name)
    film.shot("who")
    page.click(f"#as-{role}")
    page.wait_for_selector("main[data-screen=home]")
    page.wait_for_selector("body[data-worker=ready]", state="attached")
    page.wait_for_function("() => caches.keys().then((names) => names.some((name) => name.startsWith('pinario-shell-')))")
    page.wait_for_timeout(800)


def point(language: str) -> str:
    return "Punto" if language == "es" else "Point"


def key(page, digits: str, into: str, language: str) -> None:
    page.click(into)
    for digit in digits:
        page.get_by_role("button", name=point(language) if digit == "." else digit, exact=True).click()


def sampler(page, office, db, film: Film, language: str) -> None:
    enrol(page, office, db, "Cuadrilla 2", "Chuy", "sampler", language, film)
    page.context.set_offline(True)
    page.emulate_media(color_scheme="dark")
    page.reload()
    hand.ready(page)
    page.wait_for_selector("#begin")
    film.shot("home-in-the-dark")
    page.emulate_media(color_scheme="light")
    film.shot("home", whole=True)
    hand.go(page, office, "map")
    film.shot("map")
    hand.go(page, office, "")
    page.wait_for_selector("#begin")
    page.click("#begin")
    page.wait_for_selector("main[data-screen=begin]")
    film.shot("before-the-first", whole=True)
    hand.fill_begin(page)
    film.shot("instrument", whole=True)
    page.click("#start-round")
    page.wait_for_selector("main[data-screen=reading]")
    film.shot("first-reading")
    key(page, "24", "#temp", language)
    for n, value in enumerate(READINGS, 1):
        before = page.locator("h1").inner_text()
        key(page, value, "#brix", language)
        if n in (1, 7):
            film.shot(f"reading-{n}")
        page.click("#store")
        page.wait_for_function("(before) => document.querySelector('h1').innerText !== before", arg=before)
    film.shot("after-ten", whole=True)
    key(page, "242", "#brix", language)
    page.click("#store")
    page.wait_for_selector("dialog")
    film.shot("doubt")
    page.click("dialog [data-answer=likely]")
    page.wait_for_timeout(300)
    page.click("#erase")
    page.wait_for_selector("#undo")
    film.shot("erased")
    page.locator("summary").click()
    page.locator("details .line").nth(3).click()
    page.wait_for_selector("main[data-screen=reading]")
    page.wait_for_timeout(200)
    film.shot("mend-the-fourth")
    page.click("a.back")
    page.wait_for_timeout(200)
    page.click("#finish")
    page.wait_for_selector("main[data-screen=done]")
    film.shot("done", whole=True)
    page.click("text=" + ("Contar surcos aquí" if language == "es" else "Count rows here"))
    page.wait_for_selector("main[data-screen=count]")
    for name, times in (("plants_standing", 6), ("gaps", 1), ("sick_weevil", 1)):
        for _ in range(times):
            page.click(f"#more-{name}")
    film.shot("row-count", whole=True)
    page.fill("#total-plants_standing", "84")
    page.click("#store")
    page.wait_for_timeout(400)
    film.shot("row-count-next")
    hand.go(page, office, "")
    page.wait_for_timeout(300)
    film.shot("home-with-unsent", whole=True)
    hand.go(page, office, "sending")
    film.shot("waiting", whole=True)
    page.context.set_offline(False)
    page.click("#send")
    page.wait_for_selector("body[data-unsent='0']", state="attached")
    page.wait_for_timeout(500)
    film.shot("sent", whole=True)


def walker(page, office, db, film: Film, code: str) -> None:
    """An outline walked round the plot, offline."""
    ring = land.outlines(db, [code])[code]["coordinates"][0]
    ring = ring[0] if isinstance(ring[0][0], list) else ring
    hand.go(page, office, f"walk/{code}")
    film.shot("walk-start", whole=True)
    page.click("#begin-walk")
    page.wait_for_selector("#close")
    for (ax, ay), (bx, by) in zip(ring, ring[1:]):
        steps = max(1, round(hypot((bx - ax) * cos(radians(ay)), by - ay) * M_PER_DEG / STEP_M))
        for k in range(steps):
            page.context.set_geolocation({"longitude": ax + (bx - ax) * k / steps, "latitude": ay + (by - ay) * k / steps, "accuracy": 5})
            page.wait_for_timeout(40)
    page.wait_for_timeout(300)
    film.shot("walking", whole=True)
    page.click("#close")
    page.wait_for_selector("#store")
    film.shot("walked", whole=True)


def crew(page, office, db, film: Film, language: str, name: str) -> None:
    enrol(page, office, db, name, "Lupe", "crew", language, film)
    page.context.set_offline(True)
    page.reload()
    hand.ready(page)
    page.wait_for_timeout(500)
    film.shot("home", whole=True)
    page.click("#open-order")
    page.wait_for_selector("main[data-screen=order]")
    film.shot("order")
    film.shot("order-whole", whole=True)
    page.click("#load")
    page.wait_for_selector("main[data-screen=note]")
    page.fill("#f-plants", "480")
    page.fill("#f-ticket", "B-2107")
    film.shot("load", whole=True)
    page.click("#store")
    page.wait_for_selector("main[data-screen=order]")
    film.shot("order-with-load", whole=True)
    with page.expect_download() as got:
        page.click("#share")
    got.value.save_as(film.folder / f"{film.number + 1:02d}-shared-picture.png")
    film.number += 1
    page.click("#finish-order")
    page.wait_for_selector("dialog")
    film.shot("finish")
    page.click("dialog [data-answer=yes]")
    page.wait_for_timeout(400)
    film.shot("order-done")
    hand.go(page, office, "log")
    film.shot("log", whole=True)
    page.context.set_offline(False)
    hand.go(page, office, "sending")
    page.click("#send")
    page.wait_for_selector("body[data-unsent='0']", state="attached")
    film.shot("sent")
    hand.go(page, office, "more")
    film.shot("settings", whole=True)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("folder", type=Path)
    asked.add_argument("--language", choices=("es", "en"), default=None, help="both when not named")
    asked.add_argument("--estate", type=Path, help="a demo estate with published orders made before")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        made = open_estate(given.estate) if given.estate else demo(Path(scratch) / "demo.db")
        browser = playwright.chromium.launch(executable_path=needed(), args=ARGS)
        for language in (given.language,) if given.language else ("es", "en"):
            morning(browser, backup(made, Path(scratch) / f"{language}.db"), given.folder, language)
        browser.close()


def morning(browser, estate: Path, folder: Path, language: str) -> None:
    """Both strips in one language, on an estate of their own."""
    db, office = open_estate(estate), Office(estate, estate.with_suffix(".log")).start()
    order = rows(db, "SELECT crew, plot FROM cutting_order ORDER BY crew, day LIMIT 1")[0]
    plays = {"sampler": lambda page, film: (sampler(page, office, db, film, language), walker(page, office, db, film, order["plot"])),
             "crew": lambda page, film: crew(page, office, db, film, language, order["crew"])}
    try:
        for who, play in plays.items():
            context = phone(browser, *inside(db, order["plot"]))
            play(context.new_page(), Film(context.pages[0], folder / f"{who}-{language}"))
            context.close()
    finally:
        office.stop()
        db.conn.close()


if __name__ == "__main__":
    main()
