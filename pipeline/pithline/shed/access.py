"""Who may ask this server for anything: every request and every socket passes here before a page sees it."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs, urlsplit

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE = "pithline-shed"
KEY_BYTES = 12
MOST_TRIES = 40
"""Wrong keys after which no further key is taken until the server is started again."""
CHANGING = frozenset({"POST", "PUT", "PATCH", "DELETE"})
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")

POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval'",  # the page library compiles its templates in the browser
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self' blob:",
        "frame-src 'self'",
        "frame-ancestors 'self'",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
    )
)
"""The browser is told to ask no other address for anything."""
HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)


@dataclass(slots=True)
class Door:
    """What lets a browser in.

    Attributes
    ----------
    hosts : frozenset of str
        Names, with port, under which this server may be asked; any other name was made to point here by someone else.
    shared : bool
        Whether others than this machine may ask; then each browser needs a key once, and carries a pass from then on.
    """

    hosts: frozenset[str]
    shared: bool
    keys: set[str] = field(default_factory=set)
    passes: set[str] = field(default_factory=set)
    tries: int = 0

    def new_key(self) -> str:
        """A key that lets one browser in, once."""
        key = secrets.token_urlsafe(KEY_BYTES)
        self.keys.add(key)
        return key

    def take(self, key: str) -> str | None:
        """The pass that a key is changed for; `None` where it is not, or no longer, a key."""
        if self.tries >= MOST_TRIES:
            return None
        for known in self.keys:
            if hmac.compare_digest(known.encode(), key.encode()):
                self.keys.remove(known)
                one = secrets.token_urlsafe(32)
                self.passes.add(one)
                return one
        self.tries += 1
        return None

    def refusal(self, scope: Scope) -> str:
        """Why a request is refused, in one sentence; empty where it is let in."""
        headers = _headers(scope)
        if headers.get("host", "") not in self.hosts:
            return "This page is not served under that name."
        origin = headers.get("origin")
        changing = scope["type"] == "websocket" or scope.get("method") in CHANGING
        if origin is not None and urlsplit(origin).netloc not in self.hosts:
            return "Another site may not ask this page."
        if changing and origin is None and headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return "Another site may not ask this page."
        if self.shared and not self._has_pass(headers):
            return (
                "This yard is shared by key: open it with the address or the code shown on the machine that it runs on."
            )
        return ""

    def _has_pass(self, headers: MutableMapping[str, str]) -> bool:
        jar: SimpleCookie = SimpleCookie()
        try:
            jar.load(headers.get("cookie", ""))
        except CookieError:
            return False
        held = jar[COOKIE].value if COOKIE in jar else ""
        return sum(hmac.compare_digest(one.encode(), held.encode()) for one in self.passes) > 0  # all are compared


def hosts_of(addresses: Iterable[str], port: int) -> frozenset[str]:
    """Every name this server may be asked under."""
    return frozenset(f"{name}:{port}" for name in (*LOOPBACK, *addresses))


class Gate:
    """The outermost layer of the server."""

    def __init__(self, app: App, door: Door) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let in, or refuse without asking any page."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        if scope["type"] == "http" and scope["path"] == "/enter" and self.door.shared:
            await self._enter(scope, send)
            return
        reason = self.door.refusal(scope)
        if not reason:
            await self.app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 4403, "reason": reason})
        else:
            await _refuse(send, reason)

    async def _enter(self, scope: Scope, send: Send) -> None:
        """Change a key for a pass."""
        if _headers(scope).get("host", "") not in self.door.hosts:
            await _refuse(send, "This page is not served under that name.")
            return
        key = parse_qs(scope.get("query_string", b"").decode("ascii", "replace")).get("key", [""])[0]
        found = self.door.take(key)
        if found is None:
            await _refuse(
                send, "That key was used already, or is none; show a new code on the machine that the yard runs on."
            )
            return
        cookie = f"{COOKIE}={found}; Path=/; HttpOnly; SameSite=Strict"
        # a page that moves on by itself, not a redirect: after a redirect from elsewhere a strict cookie is not sent
        page = (
            '<!doctype html><html lang="en"><title>Pithline</title><meta http-equiv="refresh" content="0;url=/">'
            '<p><a href="/">To the yard</a>'
        )
        await _answer(send, 200, page, [(b"set-cookie", cookie.encode())], b"text/html; charset=utf-8")


def _headers(scope: Scope) -> MutableMapping[str, str]:
    return {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope.get("headers", [])}


def _with_headers(send: Send) -> Send:
    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in HEADERS}
            message["headers"] = [pair for pair in message.get("headers", []) if pair[0].lower() not in own] + list(
                HEADERS
            )
        await send(message)

    return sent


async def _refuse(send: Send, reason: str) -> None:
    """A page of one sentence of our own, to be read on a phone; nothing that was asked with stands in it."""
    page = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        '<title>Pithline</title><body style="margin:2em;max-width:36em;font:18px/1.5 system-ui;background:#f5f0e6;color:#2b1e16">'
        f'<h1 style="font-size:1.4em">This browser is not let in</h1><p>{reason}</p>'
    )
    await _answer(send, 403, page, kind=b"text/html; charset=utf-8")


async def _answer(
    send: Send,
    status: int,
    text: str,
    more: Iterable[tuple[bytes, bytes]] = (),
    kind: bytes = b"text/plain; charset=utf-8",
) -> None:
    headers = [(b"content-type", kind), (b"cache-control", b"no-store"), *HEADERS, *more]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})
