"""A page of the office in a browser without a server: what the browser asks goes to Flask's test client."""

from __future__ import annotations

import re


def unserved(page, client) -> list[str]:
    """Answer everything this page asks from the client (and its session); returns the list of paths asked, as it grows. Open ``http://rancho.test/…``."""
    asked: list[str] = []

    def answer(route) -> None:
        asked.append(re.sub(r"^http://[^/]+", "", route.request.url))
        reply = client.get(asked[-1], headers={"Accept": route.request.headers.get("accept", "*/*")})
        route.fulfill(status=reply.status_code, body=reply.get_data(), headers={"Content-Type": reply.content_type})

    page.route("**/*", answer)
    return asked
