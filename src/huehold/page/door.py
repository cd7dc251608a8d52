"""Who may come in: hosts, origins, tokens, cookies, sizes and rates, checked for everything.

A page on another site must not steer a run, even by a name that resolves to this machine;
a neighbour in the same network must not look in without the run's token. So every request
and every WebSocket passes here before any other code sees it.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Literal

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["COOKIE", "Door", "Keys", "Role"]

Role = Literal["desk", "phone"]

COOKIE = "huehold-run"
_MOST_BODY_BYTES = 64 << 10
_MOST_FRAME_BYTES = 2 << 20
_PICTURE_PATHS = ("/frame", "/api/calibrate/pictures")
_MOST_COOKIES = 64
_RATES: dict[str, tuple[float, float]] = {"enter": (0.5, 8), "frame": (40, 80), "other": (40, 200)}
"""Requests a second, and how many at once, for each kind and client."""

_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "media-src 'self' blob:; connect-src 'self' {sockets}; manifest-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


class Keys:
    """Tokens that open the door once each, and the cookies they were exchanged for.

    Parameters
    ----------
    clock : callable
        Monotonic seconds; replaced in tests.
    token_life_s : float
        How long an unused token of a phone stays good.
    """

    def __init__(
        self, clock: Callable[[], float] = time.monotonic, token_life_s: float = 900.0
    ) -> None:
        self._clock = clock
        self._token_life_s = token_life_s
        self._tokens: dict[str, tuple[Role, float]] = {}
        self._cookies: OrderedDict[str, Role] = OrderedDict()

    def new_token(self, role: Role) -> str:
        """Make a token; a phone's works once and for a while, the desk's as long as the run."""
        token = secrets.token_urlsafe(24)
        life_s = self._token_life_s if role == "phone" else float("inf")
        self._tokens[token] = (role, self._clock() + life_s)
        return token

    def exchange(self, token: str) -> tuple[str, Role] | None:
        """Give a cookie for a token, or None if the token is not good."""
        for known, (role, until_s) in list(self._tokens.items()):
            if hmac.compare_digest(known.encode(), token.encode()) and self._clock() < until_s:
                if role == "phone":
                    del self._tokens[known]
                cookie = secrets.token_urlsafe(24)
                self._cookies[cookie] = role
                while len(self._cookies) > _MOST_COOKIES:
                    self._cookies.popitem(last=False)
                return cookie, role
        return None

    def role_of(self, cookie: str) -> Role | None:
        """Return whom a cookie was given to, or None."""
        return self._cookies.get(cookie)


class _Bucket:
    """Lets a number of requests through at once and then so many a second."""

    def __init__(self, rate_hz: float, burst: float, now_s: float) -> None:
        self._rate_hz, self._burst = rate_hz, burst
        self._left, self._last_s = burst, now_s

    def take(self, now_s: float) -> bool:
        """Say whether one more may pass now, and count it."""
        self._left = min(self._burst, self._left + (now_s - self._last_s) * self._rate_hz)
        self._last_s = now_s
        if self._left < 1:
            return False
        self._left -= 1
        return True


@dataclass(frozen=True)
class _RefusedError(Exception):
    status: int
    text: str


class Door:
    """ASGI middleware that lets in only what belongs to the run.

    Parameters
    ----------
    app : ASGI application
        What lies behind.
    keys : Keys
        The tokens and cookies of this run.
    hosts : collection of str
        Values of the Host header that are ours, such as ``"127.0.0.1:8321"``; read anew for
        every request, so it may grow.
    open_paths : collection of str
        Paths that may be had without a cookie: the entry and what it needs.
    phone_paths : collection of str
        Paths a phone's cookie opens; a desk's opens all.
    clock : callable
        Monotonic seconds; replaced in tests.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        keys: Keys,
        hosts: Collection[str],
        open_paths: Collection[str],
        phone_paths: Collection[str],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app = app
        self._keys = keys
        self._hosts = hosts
        self._open_paths = frozenset(open_paths)
        self._phone_paths = frozenset(phone_paths)
        self._clock = clock
        self._buckets: OrderedDict[tuple[str, str], _Bucket] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check a request or a WebSocket and pass it on, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        try:
            self._check(scope, headers)
        except _RefusedError as refusal:
            await _refuse(refusal, scope, receive, send)
            return
        if scope["type"] == "websocket":
            await self._app(scope, receive, send)
            return
        limit = _MOST_FRAME_BYTES if scope["path"] in _PICTURE_PATHS else _MOST_BODY_BYTES
        await self._app(
            scope, _bounded(receive, limit, headers), _dressed(send, self._policy(scope, headers))
        )

    def _check(self, scope: Scope, headers: Headers) -> None:
        host = headers.get("host", "")
        if host not in self._hosts:
            raise _RefusedError(421, "This address is not one of the program's own.")
        self._check_origin(scope, headers, host)
        self._check_rate(scope)
        role = self._role(headers)
        scope.setdefault("state", {})["role"] = role
        path = scope["path"]
        if path in self._open_paths or role == "desk":
            return
        if role == "phone" and path in self._phone_paths:
            return
        if role is None and path in ("/", "/phone") and scope["type"] == "http":
            raise _RefusedError(303, "/enter")
        raise _RefusedError(403, "Open the address that the program printed; it carries the key.")

    @staticmethod
    def _check_origin(scope: Scope, headers: Headers, host: str) -> None:
        origin = headers.get("origin")
        secure = scope["scheme"] in ("https", "wss")
        ours = f"{'https' if secure else 'http'}://{host}"
        if origin is not None and origin != ours:
            raise _RefusedError(403, "This request comes from another site.")
        if origin is None and scope["type"] == "websocket":
            raise _RefusedError(403, "A live connection must come from the page.")
        changes = scope["type"] == "http" and scope["method"] not in ("GET", "HEAD")
        fetched_by = headers.get("sec-fetch-site")
        if changes and origin is None and fetched_by not in (None, "same-origin"):
            raise _RefusedError(403, "This request comes from another site.")

    def _check_rate(self, scope: Scope) -> None:
        path = scope["path"]
        kind = {"/frame": "frame", "/enter": "enter"}.get(path, "other")
        if kind == "enter" and scope.get("method") == "GET":
            kind = "other"
        client = (scope.get("client") or ("?", 0))[0]
        now_s = self._clock()
        bucket = self._buckets.setdefault((client, kind), _Bucket(*_RATES[kind], now_s))
        self._buckets.move_to_end((client, kind))
        while len(self._buckets) > 1000:
            self._buckets.popitem(last=False)
        if not bucket.take(now_s):
            raise _RefusedError(429, "Too many requests; wait a moment.")

    def _role(self, headers: Headers) -> Role | None:
        try:
            jar = SimpleCookie(headers.get("cookie", ""))
        except CookieError:
            return None
        return self._keys.role_of(jar[COOKIE].value) if COOKIE in jar else None

    @staticmethod
    def _policy(scope: Scope, headers: Headers) -> str:
        socket = "wss" if scope["scheme"] == "https" else "ws"
        return _POLICY.format(sockets=f"{socket}://{headers['host']}")


def _dressed(send: Send, policy: str) -> Send:
    async def dress(message: Message) -> None:
        """Add the headers where an answer begins."""
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=message.setdefault("headers", []))
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Content-Security-Policy", policy)
        await send(message)

    return dress


class TooLargeError(Exception):
    """A request's body is beyond what its kind may have."""


def _bounded(receive: Receive, limit: int, headers: Headers) -> Receive:
    stated = headers.get("content-length", "0")
    taken = 0

    async def take() -> Message:
        """Take the next part, unless it is too much."""
        nonlocal taken
        if not stated.isdigit() or int(stated) > limit:
            raise TooLargeError
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > limit:
            raise TooLargeError
        return message

    return take


async def _refuse(refusal: _RefusedError, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 4403, "reason": refusal.text})
        return
    response = (
        RedirectResponse(refusal.text, 303)
        if refusal.status == 303
        else JSONResponse({"error": refusal.text}, refusal.status)
    )
    await response(scope, receive, _dressed(send, "default-src 'none'"))


def own_hosts(addresses: Iterable[str], port: int) -> set[str]:
    """Return the Host values of a server at these addresses and port."""
    return {f"[{a}]:{port}" if ":" in a else f"{a}:{port}" for a in addresses}
