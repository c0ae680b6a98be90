"""Passwords by Argon2id, with the parameters that argon2-cffi takes from RFC 9106 for little memory."""

from __future__ import annotations

from functools import cached_property

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

__all__ = ["ArgonPasswords"]


class ArgonPasswords:
    """A ``Passwords``."""

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher()

    def hash(self, password: str) -> str:
        """See ``Passwords``."""
        return self._hasher.hash(_bytes(password))

    def verify(self, kept: str, password: str) -> bool:
        """See ``Passwords``."""
        try:
            self._hasher.verify(kept or self._nobody, _bytes(password))
        except (VerificationError, InvalidHashError):
            return False
        return kept != ""

    def stale(self, kept: str) -> bool:
        """See ``Passwords``."""
        return self._hasher.check_needs_rehash(kept)

    @cached_property
    def _nobody(self) -> str:
        """A hash to compare with where there is no account, so that the answer takes as long."""
        return self._hasher.hash(b"the password of nobody")


def _bytes(password: str) -> bytes:
    return password.encode("utf-8", "surrogatepass")
