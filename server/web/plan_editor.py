"""The editor of one slot: what the director can choose for a pilot in a heat, each choice with what it brings."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.allocator.problem import MOST_PILOTS_IN_A_HEAT
from server.services.channel_offers import ChannelOffer, offers
from server.services.edits import channel_words
from server.services.standings import DraftNow
from server.wording import decimal, short_decimal
from server.wording import gettext as _

Choice = tuple[str, str]
"""A value to send and the words to show."""


@dataclass(frozen=True)
class SlotEditor:
    """Every list is empty where there is nothing to choose.

    channels  what the gear can use today; the words say what each would bring
    swaps     pilots of the same heat, to take each other's channel
    heats     heats to move to: neither flown nor full
    trades    places in other heats that are not flown, to change places with
    powers    the transmitter's steps
    """

    heat: int
    pilot_id: int
    callsign: str
    mhz: int
    is_pinned: bool
    power: str
    channels: Sequence[Choice]
    swaps: Sequence[Choice]
    heats: Sequence[Choice]
    trades: Sequence[Choice]
    powers: Sequence[Choice]


def slot_editor(draft: DraftNow, heat: int, pilot_id: int) -> SlotEditor | None:
    """None where the pilot does not fly in that heat, or the heat has been flown."""
    if heat <= draft.basis.flown:
        return None
    content, pilots = draft.content, draft.basis.pilots
    here = content.heat(heat)
    slot = here.slot_of(pilot_id) if here else None
    if here is None or slot is None:
        return None
    pilot = pilots[pilot_id]
    flies_in = {slot[0] for slot in content.slots_of(pilot_id)}
    ahead = list(enumerate(content.heats, start=1))[draft.basis.flown :]
    elsewhere = [(number, one) for number, one in ahead if number not in flies_in]
    set_mw = content.powers.get(pilot_id)
    return SlotEditor(
        heat=heat,
        pilot_id=pilot_id,
        callsign=pilot.callsign,
        mhz=slot.mhz,
        is_pinned=pilot_id in content.pins,
        power="" if set_mw is None else f"{set_mw:g}",
        channels=[
            (str(offer.mhz), _offer_words(offer, draft.basis.problem.minimum_spacing_mhz))
            for offer in offers(draft.basis, content, pilot_id)
        ],
        swaps=[
            (str(other.pilot_id), _seat(draft, other.pilot_id, other.mhz))
            for other in here.slots
            if other.pilot_id != pilot_id
        ],
        heats=[
            (
                str(number),
                _("Heat %(heat)s, %(number)s in it", heat=number, number=len(one.slots)),
            )
            for number, one in elsewhere
            if len(one.slots) < MOST_PILOTS_IN_A_HEAT
        ],
        trades=[
            (
                f"{number}:{other.pilot_id}",
                _("Heat %(number)s: %(seat)s", number=number, seat=_seat(draft, other.pilot_id, other.mhz)),
            )
            for number, one in elsewhere
            for other in one.slots
            if not here.slot_of(other.pilot_id)
        ],
        powers=[
            ("", _("As the others")),
            *((f"{step:g}", f"{short_decimal(step)} mW") for step in pilot.power_steps_mw),
        ],
    )


def _seat(draft: DraftNow, pilot_id: int, mhz: int) -> str:
    pilot = draft.basis.pilots[pilot_id]
    return f"{pilot.callsign}, {channel_words(pilot, mhz)}"


def _offer_words(offer: ChannelOffer, minimum_spacing_mhz: int) -> str:
    name = f"{offer.channel} {offer.mhz}" if offer.channel else f"{offer.mhz} MHz"
    if offer.worst_margin_db is None:
        return _("%(channel)s: alone", channel=name)
    margin = decimal(offer.worst_margin_db, 1, signed=True)
    values = {"channel": name, "margin": margin, "word": _(offer.grade_word)}
    if offer.spacing_mhz < minimum_spacing_mhz:
        return _(
            "%(channel)s: worst %(margin)s dB, %(word)s, %(mhz)s MHz from a neighbour",
            mhz=offer.spacing_mhz,
            **values,
        )
    return _("%(channel)s: worst %(margin)s dB, %(word)s", **values)
