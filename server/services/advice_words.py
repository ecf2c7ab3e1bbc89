"""What would help a slot most, as numbers and sentences that a page shows and a published plan keeps."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

from server.allocator.advice import Advice, Change, Kind, Seat, advise
from server.allocator.problem import DayProblem
from server.services.drafts import DraftHeat
from server.services.gear import label_at
from server.services.margin_words import margin_words, rounded, signed_db
from server.services.plan_basis import PlanBasis
from server.wording import gettext as _
from server.wording import language_tag, marked, short_decimal

TITLES: dict[Kind, str] = {
    "move": marked("Move one pilot"),
    "power": marked("Lower one power"),
    "fewer": marked("One pilot fewer"),
}
NOTHING: dict[Kind, str] = {
    "move": marked("No free channel of any pilot lifts this slot without lowering the heat's worst."),
    "power": marked("Nobody has a lower step that carries the course and lifts this slot."),
    "fewer": marked("No single pilot less would lift this slot."),
}
ALONE = marked("Flies alone: nothing to better.")


def heat_advice(heat: DraftHeat, basis: PlanBasis) -> list[dict[str, Any]]:
    """What would help each slot of a heat, in its order.

    ceiling_db, is_ceiling  the most that any channels could give the slot, and whether it is there
    kinds                   for moves, powers and pilots fewer: the title, the best change or None, and the words
    """
    ids = tuple(slot.pilot_id for slot in heat.slots)
    # What a transmitter is set to now makes no odds to what would help.
    pilots = tuple(replace(basis.pilots[pilot_id], current_mhz=None) for pilot_id in ids)
    seats = tuple(
        Seat(pilot, slot.mhz, slot.power_mw) for pilot, slot in zip(pilots, heat.slots, strict=True)
    )
    return _heat_advice(seats, ids, basis.problem.with_pilots(pilots), language_tag())


@lru_cache(maxsize=512)
def _heat_advice(
    seats: tuple[Seat, ...], ids: tuple[int, ...], problem: DayProblem, _language: str
) -> list[dict[str, Any]]:
    """Kept for the heats asked about last: most heats of a plan are those of the plan before."""
    return [_facts(advice, place, seats, ids) for place, advice in enumerate(advise(seats, problem))]


def _facts(advice: Advice, place: int, seats: Sequence[Seat], ids: Sequence[int]) -> dict[str, Any]:
    best = {change.kind: change for change in advice.best}
    return {
        "ceiling_db": rounded(advice.ceiling_db),
        "is_ceiling": advice.is_ceiling,
        "words": _ceiling_words(advice, seats),
        "kinds": [
            {
                "kind": kind,
                "title": _(title),
                "change": _change(best[kind], place, seats, ids) if kind in best else None,
                "words": _words(best[kind], place, seats) if kind in best else _(NOTHING[kind]),
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
        doing = _(
            "%(callsign)s to %(channel)s",
            callsign=pilot.callsign,
            channel=f"{label} {change.mhz}" if label else f"{change.mhz} MHz",
        )
    elif change.power_mw:
        doing = _(
            "%(callsign)s to %(power)s mW", callsign=pilot.callsign, power=short_decimal(change.power_mw)
        )
    else:
        doing = _("Without %(callsign)s", callsign=pilot.callsign)
    brings = margin_words(rounded(change.margins_db[place]))
    return _(
        "%(doing)s: this slot %(brings)s; the heat's worst %(worst)s.",
        doing=doing,
        brings=brings,
        worst=margin_words(rounded(change.worst_db)),
    )


def _ceiling_words(advice: Advice, seats: Sequence[Seat]) -> str:
    """How far from the best that any channels could give the slot stands."""
    ceiling_db = rounded(advice.ceiling_db)
    if ceiling_db is None:
        return _(ALONE)
    most = _(
        "%(ceiling)s with %(number)s up at these powers",
        ceiling=signed_db(ceiling_db),
        number=len(seats),
    )
    if advice.is_ceiling:
        return _(
            "The site ceiling binds: no choice of channels gives this slot more than %(most)s.", most=most
        )
    return _("No choice of channels can give this slot more than %(most)s.", most=most)
