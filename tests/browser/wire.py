"""What a page costs on the wire: every answer with its headers, as it was compressed, and who asked for it."""

import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import httpx
from playwright.sync_api import CDPSession, Page


@dataclass
class Wire:
    """Bytes by address, and by address which page or stylesheet named it; without what the browser had kept."""

    page_address: str = ""
    took: dict[str, int] = field(default_factory=dict)
    asked_by: dict[str, str] = field(default_factory=dict)

    @property
    def total(self) -> int:
        return sum(self.took.values())

    def of(self, *endings: str) -> int:
        return sum(size for address, size in self.took.items() if address.partition("?")[0].endswith(endings))


def watch(page: Page) -> tuple[Wire, CDPSession]:
    """Count from now on. A stream counts as it comes, all else when it is there."""
    wire, addresses = Wire(), dict[str, str]()
    protocol = page.context.new_cdp_session(page)
    protocol.send("Network.enable")

    def asked(event: dict[str, Any]) -> None:
        address, initiator = event["request"]["url"], event["initiator"]
        wire.page_address = wire.page_address or address
        addresses[event["requestId"]] = address
        wire.asked_by[address] = initiator.get("url") or wire.page_address

    def arrived(event: dict[str, Any]) -> None:
        if event["requestId"] in addresses:
            wire.took[addresses[event["requestId"]]] = event["encodedDataLength"]

    def streamed(event: dict[str, Any]) -> None:
        address = addresses.get(event["requestId"], "")
        if address.endswith("/stream"):
            wire.took[address] = wire.took.get(address, 0) + event["encodedDataLength"]

    def kept(event: dict[str, Any]) -> None:
        if event["response"]["fromDiskCache"]:
            del addresses[event["requestId"]]

    protocol.on("Network.requestWillBeSent", asked)
    protocol.on("Network.responseReceived", kept)
    protocol.on("Network.loadingFinished", arrived)
    protocol.on("Network.dataReceived", streamed)
    return wire, protocol


class Listener:
    """A phone's live stream, read as it comes over the wire."""

    def __init__(self, chunks: Iterator[bytes]) -> None:
        self._chunks = chunks
        self._unpacked = zlib.decompressobj(wbits=31)

    def until(self, words: str) -> int:
        """The bytes that came until the end of the event that holds these words."""
        came, text = 0, b""
        while b"\n\n" not in text.partition(words.encode())[2]:
            chunk = next(self._chunks)
            came += len(chunk)
            text += self._unpacked.decompress(chunk)
        return came


@contextmanager
def listening(address: str) -> Iterator[Listener]:
    with httpx.stream("GET", f"{address}/stream", headers={"Accept-Encoding": "gzip"}, timeout=20) as answer:
        assert answer.headers["Content-Encoding"] == "gzip"
        yield Listener(answer.iter_raw())
