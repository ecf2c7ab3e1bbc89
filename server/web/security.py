"""What every request meets first: known host names, no posts from other sites, a largest body, safe headers.

On a field's plain http network browsers send no Sec-Fetch headers (only secure contexts do), but they do
send Origin with every post. So Sec-Fetch-Site decides where it is present, and Origin where it is not;
neither means no. The Host list stands against DNS rebinding: a strange name that points at this machine gets
nothing.
"""

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlsplit

from fastapi import Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.services.day_files import LARGEST_MIB
from server.web.errors import WITHOUT_CURE, answer
from server.wording import gettext as _
from server.wording import marked

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)

HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    # Not no-referrer: browsers then send "Origin: null" with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

DAY_IMPORT = "/days/import"
LARGEST_DAY_BYTES = (LARGEST_MIB + 1) * 2**20
"""A little more than the file, for the form around it."""

UNKNOWN_HOST = marked(
    "Bandstand does not answer under this name. Use the address that it printed at its start, or "
    "add the name to BANDSTAND_ALLOWED_HOSTS."
)
FROM_ELSEWHERE = marked(
    "This was sent from another site, so it was not done. Open the page here and send it again."
)


@dataclass(frozen=True)
class Policy:
    allowed_hosts: frozenset[str]
    public_origins: frozenset[str]
    body_limit_bytes: int
    hsts_days: int = 0

    @classmethod
    def of(
        cls,
        allowed_hosts: Iterable[str],
        public_origins: Iterable[str],
        body_limit_kib: int,
        hsts_days: int = 0,
    ) -> "Policy":
        origins = frozenset(origin.lower().rstrip("/") for origin in public_origins)
        names = {name.lower() for name in allowed_hosts}
        names.update(urlsplit(origin).hostname or "" for origin in origins)
        return cls(frozenset(names), origins, body_limit_kib * 1024, hsts_days)

    def limit_bytes(self, path: str) -> int:
        """A whole day as a file is larger than anything else; only who may bring one in has it read."""
        return max(self.body_limit_bytes, LARGEST_DAY_BYTES if path == DAY_IMPORT else 0)


class Guard:
    def __init__(self, app: ASGIApp, policy: Policy) -> None:
        self._app = app
        self._policy = policy

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                _add_headers(MutableHeaders(scope=message), self._policy.hsts_days, scope["scheme"])
            await send(message)

        headers = Headers(scope=scope)
        if not is_known_host(headers.get("host", ""), self._policy.allowed_hosts):
            await answer(Request(scope), 400, _(UNKNOWN_HOST), template=WITHOUT_CURE)(
                scope, receive, send_with_headers
            )
        elif scope["method"] not in SAFE_METHODS and not is_from_here(
            headers, scope["scheme"], self._policy.public_origins
        ):
            await answer(Request(scope), 403, _(FROM_ELSEWHERE))(scope, receive, send_with_headers)
        elif _declared_length(headers) > (limit := self._policy.limit_bytes(scope["path"])):
            await answer(Request(scope), 413, too_large(limit))(scope, receive, send_with_headers)
        else:
            counted = _counting(receive, limit)
            await self._app(scope, counted, send_with_headers)


def is_known_host(host: str, allowed_hosts: frozenset[str]) -> bool:
    """Whether a Host header is a private address, localhost, a .local name or a configured one."""
    try:
        name = urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return False
    if name in allowed_hosts or name == "localhost" or name.endswith((".localhost", ".local")):
        return True
    try:
        return not ipaddress.ip_address(name).is_global
    except ValueError:
        return False


def is_from_here(headers: Headers, scheme: str, public_origins: frozenset[str]) -> bool:
    """Whether a browser sent this from a page of ours."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = headers.get("origin", "null").lower()
    return origin == f"{scheme}://{headers['host']}".lower() or origin in public_origins


def too_large(limit_bytes: int) -> str:
    return _(
        "This is larger than %(limit)s KiB, the most that Bandstand takes at once.",
        limit=limit_bytes // 1024,
    )


def _declared_length(headers: Headers) -> int:
    text = headers.get("content-length", "0")
    return int(text) if text.isdecimal() else 0


def _counting(receive: Receive, limit_bytes: int) -> Receive:
    """Count what really comes: a chunked body declares no length."""
    received = 0

    async def receive_counted() -> Message:
        nonlocal received
        message = await receive()
        received += len(message.get("body", b""))
        if received > limit_bytes:
            raise HTTPException(413, too_large(limit_bytes))
        return message

    return receive_counted


def _add_headers(headers: MutableHeaders, hsts_days: int, scheme: str) -> None:
    headers.update(HEADERS)
    if hsts_days and scheme == "https":
        headers["Strict-Transport-Security"] = f"max-age={hsts_days * 24 * 3600}"
    # Pages are asked for anew but may stay in the browser, so that "back" still shows what was typed.
    headers.setdefault("Cache-Control", "private, no-cache")
