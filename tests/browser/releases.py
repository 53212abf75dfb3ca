"""Serves one estate with another release of the phone: ``python -m tests.browser.releases ESTATE PORT FOLDER [SPOIL]``.

SPOIL names a file whose bytes are changed on the way, after the precache list with its digests was
made: what a captive portal or a broken proxy does to a download.
"""

from __future__ import annotations

import sys
from pathlib import Path

from waitress import serve

from webapp import create_app


def spoiled(app, name: str):
    def answer(environ, start):
        if environ["PATH_INFO"].endswith("/" + name):
            start("200 OK", [("Content-Type", "text/javascript")])
            return [b"<html>Bienvenido al Wi-Fi</html>"]
        return app(environ, start)
    return answer


def main() -> None:
    estate, port, folder, *spoil = sys.argv[1:]
    app = create_app(estate)
    app.config["PHONE_FOLDER"] = Path(folder)
    serve(spoiled(app, spoil[0]) if spoil else app, host="127.0.0.1", port=int(port), threads=4, _quiet=True)


if __name__ == "__main__":
    main()
