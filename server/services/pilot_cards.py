"""Cards for pilots: callsign, channel, power and heats, with the code of the pilot's own page.

The code is as good as the pilot's private link: whoever holds it can press for that pilot. So these facts
are made for the director alone, and never stand on a heat sheet.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from sqlmodel import Session

from server.services.pilot_flights import PilotFlights, Stay, flights_of_pilots
from server.services.qr_codes import qr_svg
from server.storage import pilots
from server.storage.tables import FieldDay

MOST_STAYS, MOST_HEATS = 3, 12
"""What one card holds: channels one after another, and heats on all of them."""


def links_of_pilots(session: Session, day: FieldDay) -> dict[int, str]:
    """The whole address of each pilot's own page; none where no address for phones is chosen."""
    if not day.base_url:
        return {}
    assert day.id is not None
    root = day.base_url.rstrip("/")
    return {one.id or 0: f"{root}/slot/{one.link_token}" for one in pilots.of_day(session, day.id)}


def pilot_cards(heats: Iterable[Mapping[str, Any]], links: Mapping[int, str]) -> list[dict[str, Any]]:
    """The cards in the order of callsigns; more than one for a pilot whose heats do not fit on one.

    links  the pilots' own pages by id; a pilot without one has a card without a code
    """
    cards = []
    for pilot in flights_of_pilots(heats):
        link = links.get(pilot.pilot_id)
        parts = _parts(pilot)
        cards += [
            {
                "callsign": pilot.callsign,
                "stays": [
                    {
                        "channel": stay.channel,
                        "mhz": stay.mhz,
                        "power_mw": stay.power_mw,
                        "heats": [heat for heat, _ in stay.heats],
                    }
                    for stay in stays
                ],
                "part": number,
                "parts": len(parts),
                "qr": qr_svg(link) if link else None,
            }
            for number, stays in enumerate(parts, start=1)
        ]
    return cards


def _parts(pilot: PilotFlights) -> list[list[Stay]]:
    parts: list[list[Stay]] = [[]]
    for stay in pilot.stays:
        heats = stay.heats
        while heats:
            room = MOST_HEATS - sum(len(one.heats) for one in parts[-1])
            if len(parts[-1]) == MOST_STAYS or not room:
                parts.append([])
                room = MOST_HEATS
            parts[-1].append(replace(stay, heats=heats[:room]))
            heats = heats[room:]
    return parts
