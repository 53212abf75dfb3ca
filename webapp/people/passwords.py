"""Passwords: argon2id, and the few rules that help (OWASP ASVS 5.0 §6.2: length, no composition rules)."""

from __future__ import annotations

import hashlib
import secrets
from functools import lru_cache

from ..problems import Problem

SHORTEST, LONGEST = 8, 256
WORST = frozenset("""12345678 123456789 1234567890 password password1 contraseña contrasena qwertyui qwerty123 iloveyou
11111111 00000000 abc12345 abcd1234 teamomucho tequila1 tequila123 jimador1 jalisco1 mexico123 guadalajara america1 pinario1""".split())
"""The first ones anybody tries; a long list would not stop more guesses, the attempt limit does."""


@lru_cache(maxsize=1)
def _hasher():
    from argon2 import PasswordHasher

    return PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)  # OWASP Password Storage: Argon2id m=19 MiB, t=2, p=1


def accepted(password: str, login: str) -> str:
    """The password itself, or Problem ``password_short``, ``password_long`` or ``password_worst``."""
    if len(password) < SHORTEST:
        raise Problem("password_short", where="password", shortest=SHORTEST)
    if len(password) > LONGEST:
        raise Problem("password_long", where="password", longest=LONGEST)
    if password.lower() in WORST or password.lower() == login.lower():
        raise Problem("password_worst", where="password")
    return password


def hashed(password: str) -> str:
    return _hasher().hash(password)


def matches(stored: str, password: str) -> bool:
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return _hasher().verify(stored, password)
    except (VerificationError, InvalidHashError):
        return False


@lru_cache(maxsize=1)
def decoy() -> str:
    """A hash to verify against for unknown logins, so that time does not tell which logins exist."""
    return hashed(secrets.token_urlsafe(16))


def new_secret() -> str:
    return secrets.token_urlsafe(32)


def digest(secret: str) -> str:
    """SHA-256 of a random secret: what the store keeps instead of it."""
    return hashlib.sha256(secret.encode("utf-8", "backslashreplace")).hexdigest()
