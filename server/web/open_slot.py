"""Which plan the channel plan shows, and the slot of it whose explanation is open."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.services.advice_words import heat_advice
from server.services.snapshots import Snapshot
from server.services.standings import Standing


@dataclass(frozen=True)
class OpenSlot:
    """The slot whose explanation is open; advice None where a plan was stored without it."""

    heat: int
    pilot_id: int
    advice: Mapping[str, Any] | None


def shown_now(now: Standing) -> Snapshot:
    """The draft where it says something new, else what is published."""
    return now.draft.snapshot if now.is_ahead or not now.published else now.published


def open_slot(now: Standing, shown: Snapshot, heat: int, pilot_id: int) -> OpenSlot | None:
    """A draft's advice is worked out here; a published plan has its own."""
    if shown is now.published or heat <= now.day.flown_heats:
        return open_stored_slot(shown, heat, pilot_id)
    flying = now.draft.content.heat(heat)
    places = [slot.pilot_id for slot in flying.slots] if flying else []
    if flying is None or pilot_id not in places:
        return None
    if now.draft.basis.down:
        return OpenSlot(heat, pilot_id, None)
    return OpenSlot(heat, pilot_id, heat_advice(flying, now.draft.basis)[places.index(pilot_id)])


def open_stored_slot(shown: Snapshot, heat: int, pilot_id: int) -> OpenSlot | None:
    """A slot of a published plan; None where there is no such slot."""
    slots = [slot for one in shown["heats"] if one["heat"] == heat for slot in one["slots"]]
    slot = next((slot for slot in slots if slot["pilot_id"] == pilot_id), None)
    return OpenSlot(heat, pilot_id, slot.get("advice")) if slot else None
