"""What a hand does on the phone, in the order a person would."""

from __future__ import annotations


def ready(page) -> None:
    page.wait_for_selector("body[data-ready]", state="attached")


def enrol(page, office, role: str = "sampler", name: str = "Chuy") -> None:
    """Open the office's QR address, say who works, and wait until the shell is kept for offline use."""
    page.goto(f"{office.address}/field/#enrol={office.invite()}")
    ready(page)
    page.wait_for_selector("#name")
    page.fill("#name", name)
    page.click(f"#as-{role}")
    page.wait_for_selector("main[data-screen=home]")
    page.wait_for_selector("body[data-worker=ready]", state="attached")
    page.wait_for_function("() => caches.keys().then((names) => names.some((name) => name.startsWith('pinario-shell-')))")


def go(page, office, place: str) -> None:
    page.goto(f"{office.address}/field/#/{place}")
    page.wait_for_selector(f"main[data-screen={place.split('/')[0] or 'home'}]")


def start_round(page, office, plot: str = "VS-01") -> None:
    go(page, office, f"begin/{plot}")
    fill_begin(page)
    page.click("#start-round")
    page.wait_for_selector("main[data-screen=reading]")
    key(page, "24", "#temp")


def fill_begin(page) -> None:
    instrument = page.locator("#f-instrument")
    if instrument.evaluate("node => node.tagName") == "FIELDSET":
        instrument.locator("label").first.click()
    else:
        instrument.fill("Refractómetro 3")
    page.locator("#f-atc input[value='no']").check()


def key(page, digits: str, into: str = "#brix") -> None:
    page.click(into)
    for digit in digits:
        page.get_by_role("button", name="Punto" if digit == "." else digit, exact=True).click()


def read(page, value: str) -> None:
    """Key in one °Brix and save it; returns when the next plant is asked for."""
    before = page.locator("h1").inner_text()
    key(page, value)
    page.click("#store")
    page.wait_for_function("(before) => document.querySelector('h1').innerText !== before", arg=before)


def finish_round(page) -> None:
    page.click("#finish")
    page.wait_for_selector("main[data-screen=done]")


def unsent(page) -> int:
    return int(page.locator("body").get_attribute("data-unsent"))


def wait_sent(page, by_itself: bool = False) -> None:
    """Until what was just saved is at the office: first the save itself has to be over, or an earlier "all sent" is believed.

    A phone sends by itself once the hand rests; unless ``by_itself``, it is told that the network is there, and sends at once.
    """
    page.wait_for_function("() => !document.querySelector('[aria-busy]')")
    if not by_itself:
        page.evaluate("() => { dispatchEvent(new Event('online')); }")
    page.wait_for_function(NOTHING_UNSENT)
    page.wait_for_selector("body[data-unsent='0'][data-sending=done]", state="attached")


NOTHING_UNSENT = """() => new Promise((resolve) => {
  const open = indexedDB.open("pinario");
  open.onerror = () => resolve(false);
  open.onsuccess = () => {
    const asked = open.result.transaction("records").objectStore("records").index("state").count(IDBKeyRange.bound(["unsent"], ["unsent", []]));
    asked.onsuccess = () => { open.result.close(); resolve(asked.result === 0); };
  };
})"""


def run(modules, file: str, expression: str, argument):
    """``expression`` of one of the phone's modules, called with it and ``argument`` in a real page."""
    page, base = modules
    return page.evaluate(f"async (given) => {{ const m = await import('{base}/{file}'); return await ({expression})(m, given); }}", argument)
