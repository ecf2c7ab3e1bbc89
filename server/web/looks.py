"""The look of all pages: light, dark or outdoor, as chosen on this device, or as the device itself asks.

A look is a stylesheet that gives the variables other values; pages link every look and say by media queries when
it counts, so paper is always light and a device that changes at dusk needs no new page.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from server.wording import marked

COOKIE = "bandstand_look"
LOOKS: Mapping[str, str] = {
    "device": marked("As the device"),
    "light": marked("Light"),
    "dark": marked("Dark"),
    "outdoor": marked("Outdoor, for full sun"),
}
"""Words for each look that can be chosen."""

ALWAYS, NEVER = "screen", "not all"


@dataclass(frozen=True)
class Look:
    """One of LOOKS by key, with the media for which each stylesheet counts."""

    key: str = "device"

    @property
    def dark(self) -> str:
        return self._media("dark", "screen and (prefers-color-scheme: dark)")

    @property
    def outdoor(self) -> str:
        # Whoever asks for contrast and for a dark page has enough of it there.
        return self._media("outdoor", "screen and (prefers-contrast: more) and (prefers-color-scheme: light)")

    def _media(self, key: str, asked_by_device: str) -> str:
        if self.key == "device":
            return asked_by_device
        return ALWAYS if self.key == key else NEVER


def look_of(cookies: Mapping[str, str]) -> Look:
    """The look that a browser has chosen; as the device where it has chosen none that is known."""
    chosen = cookies.get(COOKIE, "")
    return Look(chosen) if chosen in LOOKS else Look()
