"""Each request in the log: what was asked by the pattern of its address, how it was answered, how long it took.

The address itself is never written: that of a pilot's own page is a secret. A page that fails tells the number of
its request, by which the log is searched.
"""

import logging
import re
import secrets
import time

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.logs import Asked, current_request

log = logging.getLogger("bandstand")

NO_ROUTE = "no such address"
_DAY_CODE = re.compile(r"[a-z]{4}")


class RequestLog:
    """Outermost of what meets a request, so that a refusal by any other is logged too."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        number = secrets.token_hex(4)
        current_request.set(Asked(number, _sent(scope)))
        scope.setdefault("state", {})["request_number"] = number
        begun, status = time.perf_counter(), 0

        async def note_status(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self._app(scope, receive, note_status)
        finally:
            _tell(scope, status, (time.perf_counter() - begun) * 1000)


def _tell(scope: Scope, status: int, took_ms: float) -> None:
    level = logging.WARNING if status >= 500 else logging.INFO
    if not log.isEnabledFor(level):
        return
    route = pattern_of(scope)
    facts = {
        "method": scope["method"],
        "route": route,
        "status": status or None,
        "duration_ms": round(took_ms, 1),
        "day": _day_code(scope),
    }
    how = f"answered {status}" if status else "not answered: whoever asked went away"
    log.log(level, "%s %s %s in %.0f ms", scope["method"], route, how, took_ms, extra={"facts": facts})


def pattern_of(scope: Scope) -> str:
    """The pattern of the address that was asked for, as "/slot/{token}"."""
    route = scope.get("route")
    if route is not None:
        return str(route.path)
    mounted = scope.get("root_path", "")
    return f"{mounted}/…" if mounted else NO_ROUTE


def _sent(scope: Scope) -> str:
    cookies = [value.decode("latin-1") for name, value in scope["headers"] if name == b"cookie"]
    return " ".join([scope["path"], scope["query_string"].decode("latin-1"), *cookies])


def _day_code(scope: Scope) -> str:
    code = scope.get("path_params", {}).get("code", "")
    return code if isinstance(code, str) and _DAY_CODE.fullmatch(code) else ""
