"""Where a page that is read in between leads back to: the page of ours that led there."""

from urllib.parse import urlsplit

from fastapi import Request

from server.web.dependencies import local_address

READ_IN_BETWEEN = frozenset({"/guide", "/privacy"})
"""None of these leads back to itself or round in a circle, but one may lead back to the other that it hangs on."""


def way_back(request: Request, also: str = "") -> str:
    """The address, with its query, of the page that led here; the first page where none of ours did.

    also  one of READ_IN_BETWEEN that this page hangs on
    """
    try:
        parts = urlsplit(request.headers.get("Referer", ""))
    except ValueError:
        return "/"
    if parts.netloc != request.headers.get("Host") or parts.path in READ_IN_BETWEEN - {also}:
        return "/"
    return local_address(parts.path + (f"?{parts.query}" if parts.query else ""))
