"""The phone's modules as one file: one request in place of fifty, which is what a poor line and an old phone feel.

No parser: the modules keep to a few forms, and anything else is refused here, at start and in the tests.
An import is ``import {a, b as c} from "./x.js";`` or ``import * as x from "./x.js";`` at the start of a
line; an export ``export const|class|function|async function name`` likewise, one name each, never
reassigned. Each module becomes a function of its own, run in the order the browser would; names that come
from a module not yet run (a circle) are bound once all have run, before anything else happens.
"""

from __future__ import annotations

import posixpath
import re

_IMPORT = re.compile(r'(?m)^import\s+(?:\{([^}]*)\}|\*\s+as\s+(\w+))\s+from\s+"(\.[^"]+)";[ \t]*\n?')
_EXPORT = re.compile(r"(?m)^export (?=(const|class|function|async function)\s+(\w+))")
_LEFT = re.compile(r"(?m)^(?:import|export)\b.*|\bimport\(.*")


class CannotBundle(Exception):
    """A module uses a form this file does not know; the message names module and line."""


def bundle(modules: dict[str, str], entry: str = "app.js") -> str:
    """One module with everything ``entry`` reaches, exporting what ``entry`` exports. ``modules`` is name → source."""
    order = _order(modules, entry)
    at = {name: i for i, name in enumerate(order)}
    exports = {name: [found[2] for found in _EXPORT.finditer(modules[name])] for name in order}
    parts = [f"const M = Array.from({{ length: {len(order)} }}, () => ({{}})), late = [];\n"]
    for name in order:
        parts.append(f"(() => {{ // {name}\n{_body(modules[name], name, at, exports)}}})();\n")
    parts.append("for (const bind of late) bind();\n")
    parts.append(f"export const {{ {', '.join(exports[entry])} }} = M[{at[entry]}];\n")
    return "".join(parts)


def _order(modules: dict[str, str], entry: str) -> list[str]:
    """Depth first, what is imported before who imports it, as the browser runs them."""
    seen, order = set(), []

    def visit(name: str) -> None:
        seen.add(name)
        if name not in modules:
            raise CannotBundle(f"{name} is imported but is no module here")
        for wanted in _IMPORT.finditer(modules[name]):
            if (other := _place(name, wanted[3])) not in seen:
                visit(other)
        order.append(name)

    visit(entry)
    return order


def _place(importer: str, address: str) -> str:
    return posixpath.normpath(posixpath.join(posixpath.dirname(importer), address))


def _body(source: str, name: str, at: dict[str, int], exports: dict[str, list[str]]) -> str:
    here = at[name]

    def bound(found: re.Match) -> str:
        other = _place(name, found[3])
        there = f"M[{at[other]}]"
        if found[2]:
            return f"const {found[2]} = {there};\n"
        pairs = [part.split(" as ") for part in re.split(r"\s*,\s*", found[1].strip()) if part]
        for pair in pairs:
            if pair[0].strip() not in exports[other]:
                raise CannotBundle(f"{name} imports {pair[0].strip()} from {other}, which exports no such name in a known form")
        pattern = ", ".join(": ".join(part.strip() for part in pair) for pair in pairs)
        if at[other] < here:
            return f"const {{ {pattern} }} = {there};\n"
        return f"let {', '.join(pair[-1].strip() for pair in pairs)};\nlate.push(() => {{ ({{ {pattern} }} = {there}); }});\n"

    body = _EXPORT.sub("", _IMPORT.sub(bound, source))
    if left := _LEFT.search(body):
        raise CannotBundle(f"{name}: {left[0]}")
    return f"{body.rstrip()}\nObject.assign(M[{here}], {{ {', '.join(exports[name])} }});\n"
