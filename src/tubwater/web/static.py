"""The files that never change under their address: the address holds a hash of all of them."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from pathlib import Path

from fastapi.staticfiles import StaticFiles
from starlette.responses import Response
from starlette.types import Scope

__all__ = ["FOLDER", "FixedFiles", "address_of", "version"]

FOLDER = Path(__file__).parent / "static"
_A_YEAR = "public, max-age=31536000, immutable"


@cache
def version() -> str:
    """A hash of all static files, names and contents."""
    found = sha256()
    for path in sorted(path for path in FOLDER.rglob("*") if path.is_file()):
        found.update(path.relative_to(FOLDER).as_posix().encode() + b"\0" + path.read_bytes())
    return found.hexdigest()[:16]


def address_of(name: str) -> str:
    """The address of a static file."""
    return f"/static/{version()}/{name}"


class FixedFiles(StaticFiles):
    """Static files that a browser may keep."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file, with leave to keep it."""
        response = await super().get_response(path, scope)
        response.headers["Cache-Control"] = _A_YEAR
        return response
