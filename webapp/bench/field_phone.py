"""A phone to measure: real Chromium of phone size, slowed as a cheap phone on a poor line is (Chromium's own throttling)."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import threading
from pathlib import Path

from ..problems import Problem

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"]
SCREEN = {"width": 412, "height": 823}
SLOW_CPU = 4
ROAD = {"latency_ms": 150, "down_mbit": 1.6, "up_mbit": 0.75}
POOR = {"latency_ms": 300, "down_mbit": 0.7, "up_mbit": 0.7}


@contextlib.contextmanager
def driver():
    """Playwright, running. Problem ``bench_no_playwright`` when it is not installed."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError as error:
        raise Problem("bench_no_playwright") from error
    with sync_playwright() as running:
        yield running


def chromium(running) -> str:
    """Path of a Chromium: named in PINARIO_CHROMIUM, on the path, or Playwright's own. Problem ``bench_no_chromium``."""
    named = os.environ.get("PINARIO_CHROMIUM")
    places = [named] if named else [*filter(None, map(shutil.which, NAMES)), running.chromium.executable_path]
    found = next((place for place in places if place and Path(place).exists()), None)
    if found is None:
        raise Problem("bench_no_chromium", where=named or "")
    return found


@contextlib.contextmanager
def profile(running, folder: Path, **more):
    """A browser on a profile of its own; the same folder again is the same phone, opened again."""
    context = running.chromium.launch_persistent_context(str(folder), executable_path=chromium(running), headless=True, args=ARGS, viewport=SCREEN, locale="es-MX", has_touch=True, **more)
    context.set_default_timeout(60_000)
    try:
        yield context
    finally:
        context.close()


def slow(page, cpu: int = SLOW_CPU, road: dict | None = None):
    """Slow a page down; returns its session for more. The service worker's own requests are not slowed by this."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    if road:
        session.send("Network.emulateNetworkConditions", {"offline": False, "latency": road["latency_ms"], "downloadThroughput": road["down_mbit"] * 1e6 / 8, "uploadThroughput": road["up_mbit"] * 1e6 / 8})
    session.send("Emulation.setCPUThrottlingRate", {"rate": cpu})
    return session


def first_paint_ms(page) -> float:
    return page.evaluate("""() => new Promise((resolve) => new PerformanceObserver((list, looking) => {
      const found = list.getEntriesByName('first-contentful-paint')[0];
      if (found) { looking.disconnect(); resolve(found.startTime); }
    }).observe({ type: 'paint', buffered: true }))""")


USABLE = """new MutationObserver((_, looking) => {
  if (!document.body?.dataset.ready) return;
  looking.disconnect();
  requestAnimationFrame(() => { const painted = new MessageChannel(); painted.port1.onmessage = () => { window.benchUsable = performance.now(); }; painted.port2.postMessage(0); });
}).observe(document, { subtree: true, attributes: true, attributeFilter: ['data-ready'] });"""


def usable_ms(page) -> float:
    """ms from the start of the visit until the frame after the first screen stood; the page must have been opened with ``USABLE``."""
    page.wait_for_function("() => window.benchUsable > 0")
    return page.evaluate("() => window.benchUsable")


def put_away(context, page):
    """The page closed and its service worker stopped, as a phone does with one put away for a while; returns another, empty."""
    session = context.new_cdp_session(page)
    session.send("ServiceWorker.enable")
    session.send("ServiceWorker.stopAllWorkers")
    other = context.new_page()
    page.close()
    return other


def settled(page, ready: str = "body[data-ready]") -> None:
    page.wait_for_selector(ready, state="attached")


def kept(page) -> None:
    """Until the whole shell lies in the worker's cache."""
    page.wait_for_selector("body[data-worker=ready]", state="attached")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")


class Relay:
    """A wire between phone and office that counts every byte going down and up, page and worker alike, and that can be cut."""

    def __init__(self, port: int) -> None:
        self.target, self.down, self.up, self.port, self.lines = port, 0, 0, 0, []
        self.mend()

    def mend(self) -> None:
        """Open the door, after a cut on the same port."""
        self.door = socket.create_server(("127.0.0.1", self.port))
        self.port = self.door.getsockname()[1]
        threading.Thread(target=self._accept, args=(self.door,), daemon=True).start()

    def _accept(self, door: socket.socket) -> None:
        while True:
            try:
                phone, _ = door.accept()
                office = socket.create_connection(("127.0.0.1", self.target))
            except OSError:
                return
            self.lines += [phone, office]
            for source, goal, way in ((phone, office, "up"), (office, phone, "down")):
                threading.Thread(target=self._carry, args=(source, goal, way), daemon=True).start()

    def _carry(self, source: socket.socket, goal: socket.socket, way: str) -> None:
        with contextlib.suppress(OSError):
            while piece := source.recv(65_536):
                setattr(self, way, getattr(self, way) + len(piece))
                goal.sendall(piece)
        with contextlib.suppress(OSError):
            goal.shutdown(socket.SHUT_WR)

    def cut(self) -> None:
        """No road: the door shut, every open line ended."""
        with contextlib.suppress(OSError):
            self.door.shutdown(socket.SHUT_RDWR)
        self.door.close()
        for line in self.lines:
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
            line.close()
        self.lines = []


def enter(page, address: str, code: str, role: str = "sampler") -> None:
    """Enrol with a one-time code and say who works, as a person does; until the shell is kept."""
    page.goto(f"{address}/field/#enrol={code}")
    settled(page)
    page.wait_for_selector("#name")
    page.fill("#name", "Chuy")
    page.click(f"#as-{role}")
    page.wait_for_selector("main[data-screen=home]")
    kept(page)


def begin_round(page, address: str, plot: str) -> None:
    page.goto(f"{address}/field/#/begin/{plot}")
    page.wait_for_selector("main[data-screen=begin]")
    page.fill("#f-instrument", "Refractómetro 3")
    page.locator("#f-atc input[value='no']").check()
    page.click("#start-round")
    page.wait_for_selector("main[data-screen=reading]")
    page.click("#temp")
    page.evaluate("() => document.activeElement.blur()")
    page.keyboard.type("24")
    page.click("#brix")
