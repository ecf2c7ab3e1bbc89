"""Where a page that is read in between, or a sign-in in mid-work, leads to: the page of ours that led there."""

from urllib.parse import urlsplit

from fastapi import Request
from starlette.routing import Match

from server.web.dependencies import local_address

READ_IN_BETWEEN = frozenset({"/guide", "/privacy"})
"""None of these leads back to itself or round in a circle, but one may lead back to the other that it hangs on."""


def way_back(request: Request, also: str = "") -> str:
    """The address, with its query, of the page that led here; the first page where none of ours did.

    also  one of READ_IN_BETWEEN that this page hangs on

    A page that answered a press stands under an address that takes presses only: the page above it is meant.
    """
    try:
        parts = urlsplit(request.headers.get("Referer", ""))
    except ValueError:
        return "/"
    if parts.netloc != request.headers.get("Host") or parts.path in READ_IN_BETWEEN - {also}:
        return "/"
    path = page_above(request, parts.path)
    has_query = parts.query and path == parts.path
    return local_address(path + (f"?{parts.query}" if has_query else ""))


def page_above(request: Request, path: str) -> str:
    """The nearest page at or above an address, which may take presses only; empty where there is none."""
    while path and not _is_page(request, path):
        path = path.rpartition("/")[0]
    return path


def _is_page(request: Request, path: str) -> bool:
    asked = {"type": "http", "method": "GET", "path": path}
    return any(route.matches(asked)[0] is Match.FULL for route in request.app.routes)
