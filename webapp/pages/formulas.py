r"""Formulas in a short notation, as MathML that browsers draw themselves: no library, readable by screen readers, in print and in both languages.

The notation is a small part of TeX: ``x_i^2``, ``{…}`` groups, ``\frac{a}{b}``, ``\sqrt{a}``, ``\hat{x}``, ``\bar{x}``, ``\op{log}`` for an
upright name, anything else as it stands (Greek letters and signs are written as themselves). ``\\`` is a place where a narrow screen may
break the line.
"""

from __future__ import annotations

import re
from html import escape

TOKEN = re.compile(r"\\[a-z]+|[0-9]+(?:\.[0-9]+)?|\s+|.", re.S)
ACCENTS = {"\\hat": "^", "\\bar": "¯", "\\tilde": "~"}
CONTINUED, ADDING = ' class="on"', ("+", "−")
SPACED = set("=~∼≥≤<>∈→←≈∝")
MATH_SIGNS = set("|+−·×/±∓,;:()[]′…∑Σ∏∫√!⋅") | SPACED


def mathml(source: str) -> str:
    """``source`` as one or more inline ``<math>`` elements that wrap between one another; one that goes on with + or − is of class ``on``."""
    parts = [part.strip() for part in re.split(r"\\\\", source)]
    return " ".join(f'<math{CONTINUED if part[:1] in ADDING else ""}>{_Reader(part).row()}</math>' for part in parts)


def prose(text: str) -> str:
    """Plain words, escaped, with what stands between two ``$`` drawn as a formula."""
    return "".join(mathml(part) if at % 2 else escape(part) for at, part in enumerate(text.split("$")))


class _Reader:
    def __init__(self, source: str) -> None:
        self.tokens, self.at = [t for t in TOKEN.findall(source) if not t.isspace()], 0

    def row(self, until: str = "") -> str:
        out = []
        while self.at < len(self.tokens) and self.tokens[self.at] != until:
            out.append(self._scripted())
        if until:
            self._take(until)
        return f"<mrow>{''.join(out)}</mrow>"

    def _take(self, wanted: str) -> None:
        if self.at >= len(self.tokens) or self.tokens[self.at] != wanted:
            raise ValueError(f"formula {''.join(self.tokens)!r}: {wanted!r} is missing at token {self.at}")
        self.at += 1

    def _scripted(self) -> str:
        base, below, above = self._atom(), None, None
        while self.at < len(self.tokens) and self.tokens[self.at] in "_^":
            sign = self.tokens[self.at]
            self.at += 1
            if sign == "_":
                below = self._atom()
            else:
                above = self._atom()
        if below and above:
            return f"<msubsup>{base}{below}{above}</msubsup>"
        if below:
            return f"<msub>{base}{below}</msub>"
        return f"<msup>{base}{above}</msup>" if above else base

    def _atom(self) -> str:
        if self.at >= len(self.tokens):
            raise ValueError(f"formula {''.join(self.tokens)!r} ends where something is missing")
        token = self.tokens[self.at]
        self.at += 1
        if token == "{":
            return self.row("}")
        if token == "\\frac":
            return f"<mfrac>{self._atom()}{self._atom()}</mfrac>"
        if token == "\\sqrt":
            return f"<msqrt>{self._atom()}</msqrt>"
        if token in ACCENTS:
            return f"<mover>{self._atom()}<mo>{ACCENTS[token]}</mo></mover>"
        if token == "\\op":
            self._take("{")
            end = self.tokens.index("}", self.at)
            name, self.at = "".join(self.tokens[self.at: end]), end + 1
            drawn, after = f'<mi mathvariant="normal">{escape(name)}</mi>', self.tokens[self.at: self.at + 1]
            return drawn if not after or after[0] in "(_^|′})" else f'<mrow>{drawn}<mspace width="0.17em"/></mrow>'
        if token.startswith("\\"):
            raise ValueError(f"formula {''.join(self.tokens)!r}: {token!r} is not of this notation")
        if token[0].isdigit():
            return f"<mn>{token}</mn>"
        if token in MATH_SIGNS:
            first = ' form="infix"' if self.at == 1 and token in ADDING else ""
            return f"<mo{first}{_tight(token)}>{escape(token)}</mo>"
        return f"<mi>{escape(token)}</mi>"


def _tight(sign: str) -> str:
    """Brackets keep their size: formulas stay on one line of text. Bars stand close."""
    return ' stretchy="false" lspace="0.05em" rspace="0.05em"' if sign == "|" else ' stretchy="false"' if sign in "()[]" else ""
