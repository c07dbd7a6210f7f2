"""Passwords, session tokens, codes of slips, keys of stations: made, kept only as hashes, compared.

Passwords are hashed by argon2 (argon2-cffi, its defaults). Tokens, codes and keys are long random words, so a plain
SHA-256 of them is enough to look them up and tells nothing.
"""

from __future__ import annotations

import hashlib
import secrets as random
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

SIGNS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # nothing that is mistaken for another when read aloud
CODE_SIGNS = 8  # 30 ** 8: 39 bits
HASHER = PasswordHasher()


@cache
def _nobodys() -> str:
    """A hash that is compared in vain for unknown names, so that time tells nothing."""
    return HASHER.hash("nobody has this password")


def new_code() -> str:
    """A code for a slip, in two groups: ``K7M2-Q9TX``."""
    signs = "".join(random.choice(SIGNS) for _ in range(CODE_SIGNS))
    return f"{signs[:4]}-{signs[4:]}"


def clean_code(typed: str) -> str:
    """A code as it was typed or scanned, brought to the form it was made in."""
    signs = "".join(sign for sign in typed.upper() if sign.isalnum())
    return f"{signs[:4]}-{signs[4:]}" if len(signs) == CODE_SIGNS else signs[:64]


def new_token() -> str:
    """For a session, a form or a station's key."""
    return random.token_urlsafe(32)


def new_password() -> str:
    """A first password that can be read off a screen and typed: four groups of four."""
    return "-".join("".join(random.choice(SIGNS) for _ in range(4)) for _ in range(4)).lower()


def digest(secret: str) -> str:
    """What is kept of a token, code or key."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def hash_password(password: str) -> str:
    return HASHER.hash(password)


def is_password(password: str, kept: str | None) -> bool:
    """Whether it is the password; takes as long for a name nobody has."""
    try:
        return HASHER.verify(kept or _nobodys(), password) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


def same(one: str, other: str) -> bool:
    """Compared in a time that tells nothing."""
    return random.compare_digest(one.encode("utf-8", "replace"), other.encode("utf-8", "replace"))
