"""A phone of the harness: one browser with its own profile behind its own road, told what to do through ``page.js``."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

from tests.browser.office import Chromium, wait_until
from tests.browsers import chromium, firefox, minibrowser, webkit_driver

SCRIPT = (Path(__file__).parent / "page.js").read_text()
PATIENCE_MS = 15_000


class Phone:
    """What every engine's phone can do. ``can`` names the kinds of fault its automation is able to make."""

    engine, can = "", frozenset()

    def __init__(self, number: int, road, office, folder: Path) -> None:
        self.number, self.road, self.office, self.folder, self.page, self.shift_ms = number, road, office, folder, None, 0
        self.abandoned = False

    def goto(self, place: str = "/field/") -> None:
        self.page.goto(self.road.address + place)

    def evaluate(self, function: str, argument=None):
        return self.page.evaluate(function, argument)

    def ready(self) -> None:
        self.page.wait_for_selector("body[data-ready]", state="attached", timeout=PATIENCE_MS)

    def ensure(self) -> None:
        """The page's functions are there, also after it reloaded itself."""
        for _ in range(3):
            try:
                if self.evaluate("() => Boolean(globalThis.faults)"):
                    return
                self.ready()
                base = self.evaluate("() => new URL(document.querySelector('script[type=module]').src).pathname.split('/').slice(0, 3).join('/')")
                self.evaluate(SCRIPT, base)
                if self.shift_ms:
                    self.evaluate("(ms) => faults.shift(ms)", self.shift_ms)
                return
            except Exception as error:  # a reload in the middle takes the page's context away
                last = error
                time.sleep(0.2)
                if "imported module" in str(error):  # a page remembers that a module could not be had
                    with contextlib.suppress(Exception):
                        self.goto("/field/manifest.webmanifest")
                        self.goto()
        with contextlib.suppress(Exception):
            last.add_note(f"phone {self.number} shows: {self.evaluate('() => location.href + document.body.outerHTML.slice(0, 600)')}")
        raise last

    def call(self, name: str, argument=None):
        for n in range(4):
            self.ensure()
            try:
                return self.evaluate(f"(given) => faults.{name}(given)", argument)
            except Exception:
                if n == 3 or name == "save" or self.abandoned:
                    raise
                time.sleep(0.2)
                if n:
                    self.reload()

    def clock(self, ms: int) -> None:
        self.shift_ms = ms
        self.call("shift", ms)

    def build(self) -> str:
        return self.call("named")

    def enrol(self) -> None:
        answered = self.call("enrol", self.office.invite())
        assert "id" in (answered or {}), answered

    def open(self) -> "Phone":
        raise NotImplementedError

    def first_time(self) -> "Phone":
        self.open()
        self.goto()
        self.enrol()
        self.page.wait_for_selector("body[data-worker=ready]", state="attached", timeout=PATIENCE_MS)
        return self

    def reload(self) -> None:
        """Close the page and open another, as from the home screen."""
        old, self.page = self.page, self.new_page()
        old.close()
        self.goto()
        self.ensure()

    def kill(self) -> None:
        raise NotImplementedError

    def abandon(self) -> None:
        """From another thread, when the automation no longer answers: SIGKILL, so that whoever waits for it stops waiting."""
        self.abandoned = True

    def leave(self) -> None:
        """Close the browser as a person would."""
        raise NotImplementedError

    def back(self) -> None:
        self.open()
        self.goto()

    def die(self) -> str:
        self.kill()
        return "killed by SIGKILL and reopened"

    def close(self) -> None:
        self.kill()


class ChromiumPhone(Phone):
    engine = "chromium"
    can = frozenset(("quota", "wipe", "tabs", "tabs_unlocked", "browser_killed", "update"))

    def __init__(self, playwright, number, road, office, folder) -> None:
        super().__init__(number, road, office, folder)
        self.browser = Chromium(playwright, chromium(), folder / f"profile_{number}")

    def open(self):
        self.page = self.browser.start()
        self.page.set_default_timeout(PATIENCE_MS)
        if os.environ.get("FAULTS_SHOW"):
            self.page.on("console", lambda said: print("console", self.number, said.text, flush=True))
            self.page.on("pageerror", lambda error: print("pageerror", self.number, error, flush=True))
            self.page.on("requestfailed", lambda request: print("failed", self.number, request.url, request.failure, flush=True))
        return self

    def first_time(self):
        super().first_time()
        self.browser.quit()  # so that the cookie is on the disk before the first kill
        self.open()
        self.goto()
        self.ensure()
        return self

    def cdp(self, method: str, **params) -> None:
        session = self.page.context.new_cdp_session(self.page)
        session.send(method, params)
        session.detach()

    def no_room(self):
        """From now on nothing can be written; returns what gives the room back. Chromium remembers for half a minute that there
        was room, so it is started anew, and forgets the limit with the session that set it."""
        self.browser.quit()
        self.open()
        session = self.page.context.new_cdp_session(self.page)
        session.send("Storage.overrideQuotaForOrigin", {"origin": self.road.address, "quotaSize": 1_000})
        self.goto()
        self.ensure()

        def lift() -> None:
            session.send("Storage.overrideQuotaForOrigin", {"origin": self.road.address})
            session.detach()
        return lift

    def new_page(self):
        page = self.page.context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        return page

    def wipe(self) -> None:
        self.cdp("Storage.clearDataForOrigin", origin=self.road.address, storageTypes="all")

    def tab(self, unlocked: bool):
        page = self.page.context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        if unlocked:  # as over plain http, where there are no Web Locks
            page.add_init_script("Object.defineProperty(Navigator.prototype, 'locks', { get: () => undefined })")
        return page

    def abandon(self) -> None:
        super().abandon()
        with contextlib.suppress(ProcessLookupError, AttributeError):
            os.killpg(self.browser.process.pid, signal.SIGKILL)

    def leave(self) -> None:
        self.browser.quit()

    def kill(self) -> None:
        self.browser.kill()

    def close(self) -> None:
        self.browser.forget()


class FirefoxPhone(Phone):
    engine = "firefox"
    can = frozenset(("wipe", "tabs", "browser_killed", "update"))

    def __init__(self, playwright, number, road, office, folder) -> None:
        super().__init__(number, road, office, folder)
        self.playwright, self.profile, self.context = playwright, folder / f"profile_{number}", None

    def open(self):
        self.context = self.playwright.firefox.launch_persistent_context(str(self.profile), channel="moz-firefox", executable_path=firefox(), headless=True)
        self.page = self.context.pages[0] if self.context.pages else self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        return self

    def processes(self) -> list[int]:
        """Of this phone's own profile, which no other process has in its command line."""
        found = []
        for entry in Path("/proc").iterdir():
            with contextlib.suppress(OSError, ValueError):
                if str(self.profile).encode() in (entry / "cmdline").read_bytes() and b"firefox" in (entry / "cmdline").read_bytes():
                    found.append(int(entry.name))
        return found

    def new_page(self):
        return self.tab(False)

    def wipe(self) -> None:
        assert self.call("forgetAll") is True
        self.context.clear_cookies()

    def tab(self, unlocked: bool):
        page = self.context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        return page

    def abandon(self) -> None:
        super().abandon()
        for pid in self.processes():
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)

    def leave(self) -> None:
        self.context.close()
        self.context = None

    def kill(self) -> None:
        if self.context is None:
            return
        for pid in self.processes():
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        wait_until(lambda: not self.processes(), "Firefox is gone")
        with contextlib.suppress(Exception):
            self.context.close()
        self.context = None

    def close(self) -> None:
        self.kill()
        shutil.rmtree(self.profile, ignore_errors=True)


class WebKitPage:
    """The few things of a Playwright page that a phone uses, over WebDriver."""

    def __init__(self, driver) -> None:
        self.driver, self.patience_s = driver, PATIENCE_MS / 1000
        driver.set_script_timeout(80)

    def goto(self, address: str) -> None:
        self.driver.get(address)

    def evaluate(self, function: str, argument=None):
        told = self.driver.execute_async_script(
            f"const done = arguments[arguments.length - 1], given = arguments[0];"
            f"Promise.resolve().then(() => ({function})(given)).then((value) => done({{ value }}), (error) => done({{ error: String(error) }}));", argument)
        if "error" in told:
            raise RuntimeError(told["error"])
        return told.get("value")

    def wait_for_selector(self, selector: str, state: str = "attached", timeout: float = PATIENCE_MS) -> None:
        wait_until(lambda: self.evaluate("(selector) => Boolean(document.querySelector(selector))", selector), f"{selector} is there", timeout / 1000)


class WebKitPhone(Phone):
    """WebKitGTK through WebDriver. Its automation sessions are ephemeral: nothing outlives the process, so it can't be killed and reopened."""

    engine = "webkit"
    can = frozenset(("wipe", "update"))

    def __init__(self, playwright, number, road, office, folder) -> None:
        super().__init__(number, road, office, folder)
        self.screen = self.driver = None

    def open(self):
        from selenium import webdriver
        from selenium.webdriver.webkitgtk.options import Options
        from selenium.webdriver.webkitgtk.service import Service

        self.screen = subprocess.Popen(["Xvfb", "-displayfd", "1", "-screen", "0", "800x900x24", "-nolisten", "tcp"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        display = f":{self.screen.stdout.readline().strip()}"
        options = Options()
        options.binary_location = minibrowser()
        options.add_argument("--automation")
        environment = {**os.environ, "DISPLAY": display, "WEBKIT_DISABLE_COMPOSITING_MODE": "1", "LIBGL_ALWAYS_SOFTWARE": "1"}
        self.driver = webdriver.WebKitGTK(options=options, service=Service(webkit_driver(), env=environment))
        self.page = WebKitPage(self.driver)
        return self

    def reload(self) -> None:
        self.goto("/field/manifest.webmanifest")
        self.goto()
        self.ensure()

    def wipe(self) -> None:
        assert self.call("forgetAll") is True
        self.driver.delete_all_cookies()

    def leave(self) -> None:
        self.page.goto("about:blank")

    def back(self) -> None:
        self.goto()

    def die(self) -> str:
        self.leave()
        return "left and opened again (its automation can't outlive a kill)"

    def kill(self) -> None:
        if self.driver is not None:
            with contextlib.suppress(Exception):
                self.driver.quit()
            self.driver = None
        if self.screen is not None:
            self.screen.terminate()
            self.screen.wait(20)
            self.screen = None


PHONES = {"chromium": ChromiumPhone, "firefox": FirefoxPhone, "webkit": WebKitPhone}
