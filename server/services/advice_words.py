"""What would help a slot most, as numbers and sentences that a page shows and a published plan keeps."""

from collections.abc import Sequence
from typing import Any

from server.allocator.advice import Advice, Change, Kind, Seat, advise
from server.services.drafts import DraftHeat
from server.services.gear import label_at
from server.services.margin_words import margin_words, rounded, signed_db
from server.services.plan_basis import PlanBasis

TITLES: dict[Kind, str] = {"move": "Move one pilot", "power": "Lower one power", "fewer": "One pilot fewer"}
NOTHING: dict[Kind, str] = {
    "move": "No free channel of any pilot lifts this slot without lowering the heat's worst.",
    "power": "Nobody has a lower step that carries the course and lifts this slot.",
    "fewer": "No single pilot less would lift this slot.",
}
ALONE = "Flies alone: nothing to better."


def heat_advice(heat: DraftHeat, basis: PlanBasis) -> list[dict[str, Any]]:
    """What would help each slot of a heat, in its order.

    ceiling_db, is_ceiling  the most that any channels could give the slot, and whether it is there
    kinds                   for moves, powers and pilots fewer: the title, the best change or None, and the words
    """
    ids = [slot.pilot_id for slot in heat.slots]
    seats = [Seat(basis.pilots[slot.pilot_id], slot.mhz, slot.power_mw) for slot in heat.slots]
    return [_facts(advice, place, seats, ids) for place, advice in enumerate(advise(seats, basis.problem))]


def _facts(advice: Advice, place: int, seats: Sequence[Seat], ids: Sequence[int]) -> dict[str, Any]:
    best = {change.kind: change for change in advice.best}
    return {
        "ceiling_db": rounded(advice.ceiling_db),
        "is_ceiling": advice.is_ceiling,
        "words": _ceiling_words(advice, seats),
        "kinds": [
            {
                "kind": kind,
                "title": title,
                "change": _change(best[kind], place, seats, ids) if kind in best else None,
                "words": _words(best[kind], place, seats) if kind in best else NOTHING[kind],
            }
            for kind, title in TITLES.items()
            if len(seats) > 1 or kind in best
        ],
    }


def _change(change: Change, place: int, seats: Sequence[Seat], ids: Sequence[int]) -> dict[str, Any]:
    pilot = seats[change.place].pilot
    return {
        "pilot_id": ids[change.place],
        "callsign": pilot.callsign,
        "channel": label_at(change.mhz, pilot.labels) if change.mhz else None,
        "mhz": change.mhz,
        "power_mw": change.power_mw,
        "margin_db": rounded(change.margins_db[place]),
        "worst_margin_db": rounded(change.worst_db),
    }


def _words(change: Change, place: int, seats: Sequence[Seat]) -> str:
    pilot = seats[change.place].pilot
    if change.mhz:
        label = label_at(change.mhz, pilot.labels)
        doing = f"{pilot.callsign} to {f'{label} {change.mhz}' if label else f'{change.mhz} MHz'}"
    elif change.power_mw:
        doing = f"{pilot.callsign} to {change.power_mw:g} mW"
    else:
        doing = f"Without {pilot.callsign}"
    brings = margin_words(rounded(change.margins_db[place]))
    return f"{doing}: this slot {brings}; the heat's worst {margin_words(rounded(change.worst_db))}."


def _ceiling_words(advice: Advice, seats: Sequence[Seat]) -> str:
    """How far from the best that any channels could give the slot stands."""
    ceiling_db = rounded(advice.ceiling_db)
    if ceiling_db is None:
        return ALONE
    most = f"{signed_db(ceiling_db)} with {len(seats)} up at these powers"
    if advice.is_ceiling:
        return f"The site ceiling binds: no choice of channels gives this slot more than {most}."
    return f"No choice of channels can give this slot more than {most}."
