"""Whole addresses for phones: in the codes that they scan, and as short text to type."""

import ipaddress
from dataclasses import dataclass

from fastapi import Request

from server.services.base_urls import USUAL_PORTS, base_urls_of_this_machine
from server.services.qr_codes import qr_svg
from server.settings import Settings
from server.storage.tables import FieldDay


@dataclass(frozen=True)
class PhoneAddress:
    """An address with its code; `is_here_only` where no other device can reach it."""

    url: str
    qr: str
    is_here_only: bool

    @property
    def typed(self) -> str:
        """As a person types it: browsers add http:// by themselves."""
        return self.url.removeprefix("http://")


def phone_address(request: Request, day: FieldDay, path: str) -> PhoneAddress:
    """Under the address chosen for the day, else under the one that this page was asked for.

    The director's browser often asks under localhost, which means nothing to a phone: then the name of the
    certificate or of the proxy stands in for it, else one of the machine's own addresses.
    """
    base_url = day.base_url or str(request.base_url).rstrip("/")
    if not day.base_url and _is_loopback(request.url.hostname or ""):
        settings: Settings = request.app.state.settings
        port = request.url.port or USUAL_PORTS[settings.scheme]
        own = settings.public_origins or base_urls_of_this_machine(port, settings.scheme)
        base_url = own[0] if own else base_url
    url = f"{base_url}{path}"
    is_shut = not day.base_url and is_shut_to_phones(request.app.state.settings)
    return PhoneAddress(url, qr_svg(url), is_shut or _is_loopback(_host_of(base_url)))


def is_shut_to_phones(settings: Settings) -> bool:
    """Whether the server listens for this machine alone, and nobody passes on to it what others ask."""
    return _is_loopback(settings.host) and not settings.public_origins


def _host_of(base_url: str) -> str:
    return base_url.partition("//")[2].rsplit(":", 1)[0].strip("[]")


def _is_loopback(host: str) -> bool:
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
