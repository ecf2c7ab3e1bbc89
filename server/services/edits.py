"""What a director's hand can do to a draft. Each edit takes a content and gives a new one with a sentence.

An edit refuses only what cannot be (a channel that the gear has not); what merely breaks a rule of the day is
made, measured and named beside the plan.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from server.allocator.problem import MOST_PILOTS_IN_A_HEAT, Pilot
from server.services.callsigns import callsign_key, read_callsigns
from server.services.channel_offers import best_offer
from server.services.drafts import DraftContent, DraftHeat, DraftSlot
from server.services.errors import InputError
from server.services.gear import label_at
from server.services.plan_basis import PlanBasis
from server.wording import gettext as _
from server.wording import listed, ngettext, short_decimal

_Kept = TypeVar("_Kept")


@dataclass(frozen=True)
class Edited:
    """The draft afterwards, and the sentence that the logbook and the undo line show."""

    content: DraftContent
    text: str


def tune(
    content: DraftContent, basis: PlanBasis, pilot_id: int, mhz: int, only_heat: int | None = None
) -> Edited:
    """Put a pilot on another channel, in every heat or in one; a pin made by hand goes along."""
    pilot = _flying(basis, pilot_id)
    if mhz not in pilot.channels_mhz:
        names = ", ".join(channel_words(pilot, one) for one in pilot.channels_mhz)
        fault = _(
            "%(callsign)s cannot use %(mhz)s MHz today. Choose one of %(names)s.",
            callsign=pilot.callsign,
            mhz=mhz,
            names=names,
        )
        raise InputError({"mhz": fault})
    after = _with_slots(content, pilot_id, lambda slot: replace(slot, mhz=mhz), only_heat)
    if pilot_id in content.pins:
        after = replace(after, pins={**content.pins, pilot_id: mhz})
    values = {"callsign": pilot.callsign, "channel": channel_words(pilot, mhz)}
    if only_heat:
        text = _("%(callsign)s moves to %(channel)s in heat %(heat)s.", heat=only_heat, **values)
    else:
        text = _("%(callsign)s moves to %(channel)s.", **values)
    return Edited(after, text)


def swap_channels(content: DraftContent, basis: PlanBasis, heat: int, one_id: int, other_id: int) -> Edited:
    """Two pilots of a heat take each other's channel wherever they fly on it."""
    one, other = _flying(basis, one_id), _flying(basis, other_id)
    one_mhz = _slot(content, heat, one, one_id).mhz
    other_mhz = _slot(content, heat, other, other_id).mhz
    for pilot, mhz in ((one, other_mhz), (other, one_mhz)):
        if mhz not in pilot.channels_mhz:
            fault = _(
                "%(callsign)s cannot use %(mhz)s MHz today. Choose another pilot.",
                callsign=pilot.callsign,
                mhz=mhz,
            )
            raise InputError({"other": fault})
    trade = {(one_id, one_mhz): other_mhz, (other_id, other_mhz): one_mhz}

    def traded(slot: DraftSlot) -> DraftSlot:
        return replace(slot, mhz=trade.get((slot.pilot_id, slot.mhz), slot.mhz))

    after = _with_slots(_with_slots(content, one_id, traded), other_id, traded)
    pins = {pilot_id: trade.get((pilot_id, mhz), mhz) for pilot_id, mhz in content.pins.items()}
    text = _(
        "%(callsign)s and %(other)s swap: %(channel)s and %(other_channel)s.",
        callsign=one.callsign,
        other=other.callsign,
        channel=channel_words(one, other_mhz),
        other_channel=channel_words(other, one_mhz),
    )
    return Edited(replace(after, pins=pins), text)


def move(content: DraftContent, basis: PlanBasis, heat: int, pilot_id: int, to_heat: int) -> Edited:
    """Take a pilot to another heat, channel and power unchanged."""
    pilot = _flying(basis, pilot_id)
    slot, target = _slot(content, heat, pilot, pilot_id), _heat(content, to_heat, "to_heat")
    if target.slot_of(pilot_id):
        fault = _(
            "%(callsign)s flies in heat %(to_heat)s already. Choose another heat.",
            callsign=pilot.callsign,
            to_heat=to_heat,
        )
        raise InputError({"to_heat": fault})
    _check_room(target, to_heat, "to_heat")
    after = _with_added(_without(content, heat, pilot_id), to_heat, slot)
    return Edited(
        after,
        _(
            "%(callsign)s moves from heat %(heat)s to heat %(to_heat)s.",
            callsign=pilot.callsign,
            heat=heat,
            to_heat=to_heat,
        ),
    )


def trade_places(
    content: DraftContent, basis: PlanBasis, heat: int, one_id: int, other_heat: int, other_id: int
) -> Edited:
    """Two pilots of different heats change places, each on the own channel."""
    one, other = _flying(basis, one_id), _flying(basis, other_id)
    one_slot = _slot(content, heat, one, one_id)
    other_slot = _slot(content, other_heat, other, other_id)
    for pilot, pilot_id, to_heat in ((one, one_id, other_heat), (other, other_id, heat)):
        if content.heats[to_heat - 1].slot_of(pilot_id):
            fault = _(
                "%(callsign)s flies in heat %(to_heat)s already. Choose another pilot.",
                callsign=pilot.callsign,
                to_heat=to_heat,
            )
            raise InputError({"place": fault})
    after = _with_added(_without(content, heat, one_id), heat, other_slot)
    after = _with_added(_without(after, other_heat, other_id), other_heat, one_slot)
    text = _(
        "%(callsign)s (heat %(heat)s) and %(other)s (heat %(other_heat)s) change places.",
        callsign=one.callsign,
        heat=heat,
        other=other.callsign,
        other_heat=other_heat,
    )
    return Edited(after, text)


def remove(content: DraftContent, basis: PlanBasis, heat: int, pilot_id: int) -> Edited:
    pilot = _flying(basis, pilot_id)
    _slot(content, heat, pilot, pilot_id)
    return Edited(
        _without(content, heat, pilot_id),
        _("%(callsign)s is out of heat %(heat)s.", callsign=pilot.callsign, heat=heat),
    )


def pin(content: DraftContent, basis: PlanBasis, heat: int, pilot_id: int) -> Edited:
    """Fix a pilot's channel, so that later planning leaves it alone."""
    pilot = _flying(basis, pilot_id)
    mhz = _slot(content, heat, pilot, pilot_id).mhz
    after = replace(content, pins={**content.pins, pilot_id: mhz})
    return Edited(
        after,
        _(
            "%(callsign)s stays on %(channel)s in later plans.",
            callsign=pilot.callsign,
            channel=channel_words(pilot, mhz),
        ),
    )


def unpin(content: DraftContent, basis: PlanBasis, pilot_id: int) -> Edited:
    pilot = _flying(basis, pilot_id)
    after = replace(content, pins=_less(content.pins, pilot_id))
    return Edited(after, _("%(callsign)s is free to move in later plans.", callsign=pilot.callsign))


def set_power(content: DraftContent, basis: PlanBasis, pilot_id: int, power_mw: float | None) -> Edited:
    """Set a pilot's power in all heats and in later plans; None gives it back to the common level."""
    pilot = _flying(basis, pilot_id)
    if power_mw is None:
        free = replace(pilot, power_mw=None)
        common_mw = content.common_power_mw or min(pilot.power_steps_mw)
        set_mw, powers = free.power_at(common_mw), _less(content.powers, pilot_id)
    elif power_mw not in pilot.power_steps_mw:
        steps = " ".join(short_decimal(step) for step in pilot.power_steps_mw)
        fault = _(
            "%(callsign)s can set %(steps)s mW today, by gear and rules. Choose one of these.",
            callsign=pilot.callsign,
            steps=steps,
        )
        raise InputError({"power_mw": fault})
    else:
        set_mw, powers = power_mw, {**content.powers, pilot_id: power_mw}
    after = _with_slots(content, pilot_id, lambda slot: replace(slot, power_mw=set_mw))
    after = replace(after, powers=powers)
    values = {"callsign": pilot.callsign, "power": short_decimal(set_mw)}
    if power_mw is None:
        return Edited(after, _("%(callsign)s sets %(power)s mW, like the others.", **values))
    return Edited(after, _("%(callsign)s sets %(power)s mW.", **values))


def put_in(content: DraftContent, basis: PlanBasis, callsigns: str, heat: int | None = None) -> Edited:
    """Pilots by their typed callsigns into a heat, or into a new one at the end of the day.

    Who flies already keeps the channel; the others get the one that leaves the heat best, in typed order.
    """
    named = _named(basis, callsigns)
    if heat is None:
        last = content.heats[-1].round if content.heats else 1
        content = replace(content, heats=(*content.heats, DraftHeat(last)), are_heats_given=True)
    number = heat or len(content.heats)
    target = _heat(content, number, "heat")
    for pilot_id in named:
        if target.slot_of(pilot_id):
            callsign = basis.pilots[pilot_id].callsign
            fault = _(
                "%(callsign)s flies in heat %(number)s already. Leave that callsign out.",
                callsign=callsign,
                number=number,
            )
            raise InputError({"callsigns": fault})
        _check_room(target, number, "callsigns")
        target = replace(target, slots=(*target.slots, _new_slot(content, basis, target, pilot_id)))
    after = content.with_heat(number, replace(target, is_proved=False))
    values = {"who": listed(basis.pilots[pilot_id].callsign for pilot_id in named), "heat": number}
    if heat is None:
        text = ngettext(
            "%(who)s flies in the new heat %(heat)s.",
            "%(who)s fly in the new heat %(heat)s.",
            len(named),
            **values,
        )
    else:
        text = ngettext(
            "%(who)s flies in heat %(heat)s.", "%(who)s fly in heat %(heat)s.", len(named), **values
        )
    return Edited(_by_hand(after), text)


def fly_again(content: DraftContent, basis: PlanBasis, heat: int) -> Edited:
    """Another heat at the end of the day with the pilots of one, those who are still here, as they are set now."""
    here = [slot for slot in _heat(content, heat, "heat").slots if slot.pilot_id in basis.pilots]
    if not here:
        raise InputError(
            {"heat": _("Nobody of heat %(heat)s is here any more. Choose another heat.", heat=heat)}
        )
    again = DraftHeat(content.heats[-1].round, tuple(content.slots_of(slot.pilot_id)[-1][1] for slot in here))
    after = replace(content, heats=(*content.heats, again), are_heats_given=True)
    return Edited(
        _by_hand(after),
        _("Heat %(heat)s is flown again as heat %(number)s.", heat=heat, number=len(after.heats)),
    )


def delete_heat(content: DraftContent, heat: int) -> Edited:
    """Take a heat out of the day; the later ones move up."""
    pilots = len(_heat(content, heat, "heat").slots)
    heats = (*content.heats[: heat - 1], *content.heats[heat:])
    after = replace(content, heats=heats, are_heats_given=True)
    text = _("Heat %(heat)s is deleted.", heat=heat)
    if pilots:
        text = ngettext(
            "Heat %(heat)s is deleted, with %(number)s pilot in it.",
            "Heat %(heat)s is deleted, with %(number)s pilots in it.",
            pilots,
            heat=heat,
        )
    return Edited(_by_hand(after), text)


def channel_words(pilot: Pilot, mhz: int) -> str:
    """A carrier by the pilot's own label, "R1 5658", or "5800 MHz" where there is none."""
    label = label_at(mhz, pilot.labels)
    return f"{label} {mhz}" if label else f"{mhz} MHz"


def _named(basis: PlanBasis, callsigns: str) -> list[int]:
    ids = basis.ids()
    known = {callsign_key(callsign): callsign for callsign in ids}
    named = [ids[callsign] for callsign in read_callsigns("callsigns", callsigns, known, own="")]
    if not named:
        raise InputError({"callsigns": _("Type at least one callsign, with spaces between: Wren Otter.")})
    return named


def _new_slot(content: DraftContent, basis: PlanBasis, heat: DraftHeat, pilot_id: int) -> DraftSlot:
    known = content.slots_of(pilot_id)
    if known:
        return known[-1][1]
    pilot = basis.pilots[pilot_id]
    power_mw = pilot.power_at(content.common_power_mw or min(pilot.power_steps_mw))
    offer = best_offer(basis, heat, pilot_id, power_mw)
    if offer is None:
        fault = _(
            "%(callsign)s has no channel within this day's rules. Look at the gear at check-in.",
            callsign=pilot.callsign,
        )
        raise InputError({"callsigns": fault})
    return DraftSlot(pilot_id, offer.mhz, power_mw)


def _flying(basis: PlanBasis, pilot_id: int) -> Pilot:
    pilot = basis.pilots.get(pilot_id)
    if pilot is None:
        raise InputError(
            {"pilot": _("This pilot is not checked in. Bring the pilot back at check-in first.")}
        )
    return pilot


def _heat(content: DraftContent, number: int, field: str) -> DraftHeat:
    heat = content.heat(number)
    if heat is None:
        fault = _(
            "There is no heat %(number)s. Choose one from 1 to %(last)s.",
            number=number,
            last=len(content.heats),
        )
        raise InputError({field: fault})
    return heat


def _check_room(heat: DraftHeat, number: int, field: str) -> None:
    if len(heat.slots) >= MOST_PILOTS_IN_A_HEAT:
        fault = _(
            "Heat %(number)s is full: at most %(most)s can share the air. Use another heat.",
            number=number,
            most=MOST_PILOTS_IN_A_HEAT,
        )
        raise InputError({field: fault})


def _slot(content: DraftContent, heat: int, pilot: Pilot, pilot_id: int) -> DraftSlot:
    slot = _heat(content, heat, "heat").slot_of(pilot_id)
    if slot is None:
        fault = _(
            "%(callsign)s does not fly in heat %(heat)s. Look at the plan again.",
            callsign=pilot.callsign,
            heat=heat,
        )
        raise InputError({"heat": fault})
    return slot


def _with_slots(
    content: DraftContent,
    pilot_id: int,
    change: Callable[[DraftSlot], DraftSlot],
    only_heat: int | None = None,
) -> DraftContent:
    """Every slot of a pilot changed, or the one in a heat; heats that change are proved no more."""
    heats = tuple(
        replace(
            heat,
            slots=tuple(change(slot) if slot.pilot_id == pilot_id else slot for slot in heat.slots),
            is_proved=False,
        )
        if heat.slot_of(pilot_id) and only_heat in (None, number)
        else heat
        for number, heat in enumerate(content.heats, start=1)
    )
    return _by_hand(replace(content, heats=heats))


def _without(content: DraftContent, heat: int, pilot_id: int) -> DraftContent:
    kept = content.heats[heat - 1]
    slots = tuple(slot for slot in kept.slots if slot.pilot_id != pilot_id)
    return _by_hand(content.with_heat(heat, replace(kept, slots=slots, is_proved=False)))


def _with_added(content: DraftContent, heat: int, slot: DraftSlot) -> DraftContent:
    target = content.heats[heat - 1]
    return _by_hand(content.with_heat(heat, replace(target, slots=(*target.slots, slot), is_proved=False)))


def _by_hand(content: DraftContent) -> DraftContent:
    """What the planner proved of the day ends with the first change by hand."""
    return replace(content, planner=None)


def _less(items: Mapping[int, _Kept], key: int) -> dict[int, _Kept]:
    return {kept: value for kept, value in items.items() if kept != key}
