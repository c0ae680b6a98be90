"""What stands before every request: who may ask under which name, from where, how much; and what every answer says."""

from __future__ import annotations

import json
from collections.abc import Container
from urllib.parse import urlsplit

from fastapi import HTTPException
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tubwater.web.show import say

__all__ = ["HERE_ONLY", "MOST_BYTES", "POLICY", "Guard"]

MOST_BYTES = 2_000_000  # of a request's body
HERE_ONLY = frozenset({"127.0.0.1", "localhost", "[::1]"})
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=()",
}
_HARMLESS = frozenset({"GET", "HEAD", "OPTIONS"})


class Guard:
    """Wraps the application.

    ``hosts`` are the names under which it may be asked (a page elsewhere that points a name of its own here is thus
    refused); None allows any. What changes something is taken from this application's own pages only.
    """

    def __init__(self, app: ASGIApp, hosts: Container[str] | None = HERE_ONLY) -> None:
        self._app = app
        self._hosts = hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal:
            await _refuse(send, *refusal)
            return
        await self._limited(scope, receive, send)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        name = host if host.endswith("]") else host.rpartition(":")[0] or host
        if self._hosts is not None and name not in self._hosts:
            return 421, say("guard.name")
        if scope["method"] not in _HARMLESS and not _own(headers, host):
            return 403, say("guard.site")
        if headers.get("content-length", "0").isdigit() and int(headers.get("content-length", "0")) > MOST_BYTES:
            return 413, say("guard.large")
        return None

    async def _limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        taken = 0

        async def count() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > MOST_BYTES:
                raise HTTPException(413, say("guard.large"))
            return message

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                _dress(MutableHeaders(scope=message))
            await send(message)

        await self._app(scope, count, dressed)


def _own(headers: Headers, host: str) -> bool:
    """Whether a request comes from a page of this application, or from no page at all."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc == host


def _dress(headers: MutableHeaders) -> None:
    for name, value in _HEADERS.items():
        headers.setdefault(name, value)
    headers.setdefault("Cache-Control", "no-store")


async def _refuse(send: Send, status: int, text: str) -> None:
    """An answer that needs nothing of the application."""
    body = json.dumps({"error": text}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    headers += [(name.lower().encode(), value.encode()) for name, value in _HEADERS.items()]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
