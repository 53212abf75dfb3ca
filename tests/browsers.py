"""Finds a Chromium for the browser tests, or gets one: ``python -m tests.browsers``; ``--all`` also gets Firefox and WebKitGTK.

In this order: ``PINARIO_CHROMIUM``, one on the path, Playwright's own; then the system's package
manager where this user may run it, then Playwright's download. When nothing works it says what to do.
The other engines come from the system's package manager only, and selenium, which drives WebKitGTK, with pip.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PLAIN = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
UNSEEN = "WebUIOmniboxPopup,WebUIOmniboxFullPopup,WebUIOmniboxAimPopup"
"""Pages that wait unseen under the address bar, loaded anew for every window: three quarters of what a fresh page costs."""
PLAYWRIGHTS = ("AvoidUnnecessaryBeforeUnloadCheckSync,DestroyProfileOnBrowserClose,DialMediaRouteProvider,GlobalMediaControls,HttpsUpgrades,LensOverlay,MediaRouter,PaintHolding,"
               "ThirdPartyStoragePartitioning,BlockOriginHeaderModificationOnRedirect,AvoidCorsURLLoaderRestartOnRedirect,Translate,AutoDeElevate,OptimizationHints,NetworkTimeServiceQuerying,AimEnabled")
"""What Playwright turns off in a browser it launches; named again, since of several such switches Chromium heeds the last."""
ARGS = [*PLAIN, f"--disable-features={PLAYWRIGHTS},{UNSEEN}"]
STARTED_BY_US = [*PLAIN, f"--disable-features={UNSEEN}"]
WHAT_TO_DO = ("No Chromium found. Install one (Debian: apt install chromium; elsewhere: playwright install --with-deps chromium), "
              "or name it in PINARIO_CHROMIUM.")


def chromium() -> str | None:
    """Path of an installed Chromium, or None."""
    named = os.environ.get("PINARIO_CHROMIUM")
    if named:
        return named if Path(named).exists() else None
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    return found or _playwrights()


def firefox() -> str | None:
    """Path of an installed Firefox (ESR first), or None."""
    named = os.environ.get("PINARIO_FIREFOX")
    if named:
        return named if Path(named).exists() else None
    return next((path for name in ("firefox-esr", "firefox") if (path := shutil.which(name))), None)


def webkit_driver() -> str | None:
    """Path of WebKitGTK's WebDriver, or None."""
    return shutil.which("WebKitWebDriver")


def minibrowser() -> str | None:
    """Path of the browser that it drives, which stands in no folder of the path."""
    return next((str(path) for path in sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"), reverse=True)), None)


def _selenium() -> bool:
    return importlib.util.find_spec("selenium") is not None


ENGINES = {"firefox": lambda: firefox(), "webkit": lambda: webkit_driver() and minibrowser() and shutil.which("Xvfb") and _selenium()}
PACKAGES = ("firefox-esr", "webkit2gtk-driver", "xvfb", "xauth")
WHAT_TO_DO_ALL = (f"As root on Debian: apt install {' '.join(PACKAGES)}; then .venv/bin/pip install -c .ci/constraints.txt -e '.[test,engines]'. "
                  "Another Firefox is named in PINARIO_FIREFOX.")


def get_all() -> list[str]:
    """Get the other engines where that is possible; returns the names of those that are missing still."""
    if not _selenium():
        constraints = Path(__file__).parent.parent / ".ci" / "constraints.txt"
        subprocess.run([sys.executable, "-m", "pip", "install", "-q", "-c", str(constraints), "selenium"])
        importlib.invalidate_caches()
    if any(not found() for found in ENGINES.values()):
        _system_manager(*PACKAGES)
    return [name for name, found in ENGINES.items() if not found()]


def _playwrights() -> str | None:
    def asked() -> str:
        from playwright.sync_api import sync_playwright

        with sync_playwright() as playwright:
            return playwright.chromium.executable_path

    try:
        with ThreadPoolExecutor(1) as thread:  # Playwright starts once a thread, and whoever asks may have it running
            path = thread.submit(asked).result()
    except Exception:  # no Playwright, or no browser known to it: the caller says what to do
        return None
    return path if Path(path).exists() else None


def _system_manager(*packages: str) -> bool:
    if os.name != "posix" or os.geteuid() != 0 or not shutil.which("apt-get"):
        return False
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    update = subprocess.run(["apt-get", "update", "-q"], env=environment)
    install = subprocess.run(["apt-get", "install", "-q", "-y", "--no-install-recommends", *(packages or ("chromium",))], env=environment)
    return update.returncode == 0 and install.returncode == 0


def _playwright_download() -> bool:
    return subprocess.run([sys.executable, "-m", "playwright", "install", "chromium"]).returncode == 0


def get() -> str | None:
    """An installed Chromium, fetched if need be."""
    for fetch in (_system_manager, _playwright_download):
        if found := chromium():
            return found
        print(f"No Chromium yet: trying {fetch.__name__.strip('_').replace('_', ' ')}", flush=True)
        fetch()
    return chromium()


def needed() -> str:
    """For tests: the path, or a skip; with ``CI=true`` a missing browser is a failure."""
    import pytest

    found = chromium()
    if found is None:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(WHAT_TO_DO)
    return found


if __name__ == "__main__":
    path = get()
    if path is None:
        sys.exit(WHAT_TO_DO)
    version = subprocess.run([path, "--version"], capture_output=True, text=True).stdout.strip()
    print(f"Chromium for the tests: {path} ({version})")
    if "--all" in sys.argv:
        if missing := get_all():
            sys.exit(f"Missing: {', '.join(missing)}. {WHAT_TO_DO_ALL}")
        print(f"Firefox: {firefox()}; WebKitGTK: {minibrowser()} by {webkit_driver()}")
