"""The address that phones are sent to: chosen once a day, printed in codes and typed from the board."""

from urllib.parse import urlsplit

from server.services.addresses import own_addresses
from server.services.faults import shown
from server.wording import gettext as _

LONGEST = 200
EXAMPLE = "http://192.168.8.2:8000"

USUAL_PORTS = {"http": 80, "https": 443}

_NEVER = frozenset(" \\\"'<>@")


def base_urls_of_this_machine(port: int, scheme: str = "http") -> tuple[str, ...]:
    """One for each address under which other devices reach this machine; empty without a network."""
    usual = USUAL_PORTS[scheme]
    return tuple(f"{scheme}://{ip}" if port == usual else f"{scheme}://{ip}:{port}" for ip in own_addresses())


def read_base_url(text: str) -> str:
    """Scheme, host and port of an address as it was typed. Raises ValueError with a sentence."""
    if len(text) > LONGEST or not text.isprintable() or not _NEVER.isdisjoint(text):
        raise ValueError(_not_an_address(text))
    try:
        parts = urlsplit(text if "//" in text else f"http://{text}")
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if not host or parts.scheme not in ("http", "https"):
        raise ValueError(_not_an_address(text))
    if parts.path.strip("/") or parts.query or parts.fragment:
        raise ValueError(
            _(
                "“%(text)s” says more than an address: write one such as %(example)s, without what follows it.",
                text=shown(text),
                example=EXAMPLE,
            )
        )
    shown_host = f"[{host}]" if ":" in host else host
    return f"{parts.scheme}://{shown_host}" + (f":{port}" if port else "")


def _not_an_address(text: str) -> str:
    return _(
        "“%(text)s” is not an address for phones: write one such as %(example)s.",
        text=shown(text),
        example=EXAMPLE,
    )
