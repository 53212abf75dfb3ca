"""The demo's pages as the head reads them, in plain words."""

import html
import re
import shutil
from contextlib import contextmanager

from webapp import create_app
from webapp.commands.seeding import SIGN_INS
from webapp.database import open_estate


@contextmanager
def head_of(demo_made, folder):
    """(page, database) of a copy in ``folder``: ``page`` gives the markup of an address or of a plot's page by its code."""
    path = shutil.copy(demo_made, folder / "demo.db")
    app, db = create_app(path, testing=True), open_estate(path)
    client = app.test_client()
    client.post("/sign-in", data={"login": "jefa", "password": next(p for _, name, p, _ in SIGN_INS if name == "jefa")})

    def page(address, language="es"):
        reply = client.get(f"{address if address.startswith('/') else '/plots/' + address}?lang={language}")
        assert reply.status_code == 200
        return reply.get_data(as_text=True)

    yield page, db
    db.conn.close()


def plain(markup):
    """Without tags, blanks of one kind; a week's code stays one word."""
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", re.sub(r'<span class="week">(.*?)</span>', r"\1", markup)))).replace("\u00a0", " ").strip()
