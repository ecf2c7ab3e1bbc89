"""What one plan changes against another, read from their snapshots alone: nothing is computed again."""

from collections.abc import Mapping
from typing import Any

from server.wording import gettext as _
from server.wording import listed, ngettext, short_decimal

Snapshot = Mapping[str, Any]
Slots = list[dict[str, Any]]


def moves(before: Snapshot, after: Snapshot) -> list[dict[str, Any]]:
    """Pilots of both plans who have to tune to another channel, in the order of their first heat."""
    found = []
    for pilot_id, (old, new) in _both(before, after).items():
        left = [slot for slot in old if slot["mhz"] not in _mhz(new)]
        taken = [slot for slot in new if slot["mhz"] not in _mhz(old)]
        if left or taken:
            come_from, go_to = (left or old)[0], (taken or new)[0]
            found.append(
                {
                    "pilot_id": pilot_id,
                    "callsign": go_to["callsign"],
                    "from_channel": come_from["channel"],
                    "from_mhz": come_from["mhz"],
                    "to_channel": go_to["channel"],
                    "to_mhz": go_to["mhz"],
                }
            )
    return found


def newcomers(before: Snapshot | None, after: Snapshot) -> list[int]:
    """Pilots, by id, whom the plan before did not have: what they were given until now is provisional."""
    known = {slot["pilot_id"] for heat in before["heats"] for slot in heat["slots"]} if before else set()
    return sorted({slot["pilot_id"] for heat in after["heats"] for slot in heat["slots"]} - known)


def sentences(before: Snapshot, after: Snapshot) -> list[str]:
    """Every change that a pilot would notice: channel, heat, power, who comes and who goes.

    Heats that only count otherwise, because one before them is new or gone, are told once for all their pilots.
    """
    renumbered = _renumbered(before, after)
    found = [
        _(
            "%(callsign)s moves from %(before)s to %(after)s",
            callsign=move["callsign"],
            before=_channel(move["from_channel"], move["from_mhz"]),
            after=_channel(move["to_channel"], move["to_mhz"]),
        )
        for move in moves(before, after)
    ]
    for old, new in _both(before, after).values():
        callsign = new[0]["callsign"]
        if [renumbered.get(number, number) for number in _heats(old)] != _heats(new):
            text = _(
                "%(callsign)s flies in %(heats)s, not in %(before)s",
                callsign=callsign,
                heats=_heat_words(new),
                before=_heat_words(old),
            )
            found.append(text)
        if _powers(old) != _powers(new):
            text = _(
                "%(callsign)s sets %(power)s, not %(before)s",
                callsign=callsign,
                power=_power_words(new),
                before=_power_words(old),
            )
            found.append(text)
    old_slots, new_slots = _by_pilot(before), _by_pilot(after)
    found += [_coming(slots) for pilot_id, slots in new_slots.items() if pilot_id not in old_slots]
    found += [
        _("%(callsign)s no longer flies", callsign=slots[0]["callsign"])
        for pilot_id, slots in old_slots.items()
        if pilot_id not in new_slots
    ]
    if renumbered:
        was, now = _numbered([*renumbered]), _numbered([*renumbered.values()])
        words = ngettext(
            "%(was)s is now %(now)s", "%(was)s are now %(now)s", len(renumbered), was=was, now=now
        )
        found.append(f"{words[:1].upper()}{words[1:]}")
    return found


def changed_slots(before: Snapshot, after: Snapshot) -> int:
    """How many slots of either plan are not exactly the same in the other."""
    old, new = _keys(before), _keys(after)
    return max(len(old - new), len(new - old))


def _renumbered(before: Snapshot, after: Snapshot) -> dict[int, int]:
    """New numbers by old ones, of heats whose pilots are the same under another number."""
    places: dict[tuple[Any, ...], list[int]] = {}
    for heat in after["heats"]:
        places.setdefault(_crew(heat), []).append(heat["heat"])
    found = {heat["heat"]: places[_crew(heat)].pop(0) for heat in before["heats"] if places.get(_crew(heat))}
    return {old: new for old, new in found.items() if old != new}


def _crew(heat: Mapping[str, Any]) -> tuple[Any, ...]:
    return heat["round"], frozenset(slot["pilot_id"] for slot in heat["slots"])


def _keys(snapshot: Snapshot) -> set[tuple[Any, ...]]:
    return {
        (heat["heat"], heat["round"], slot["pilot_id"], slot["mhz"], slot["power_mw"])
        for heat in snapshot["heats"]
        for slot in heat["slots"]
    }


def _both(before: Snapshot, after: Snapshot) -> dict[int, tuple[Slots, Slots]]:
    old, new = _by_pilot(before), _by_pilot(after)
    return {pilot_id: (old[pilot_id], slots) for pilot_id, slots in new.items() if pilot_id in old}


def _by_pilot(snapshot: Snapshot) -> dict[int, Slots]:
    """Each pilot's slots through the day, each with its heat's number."""
    found: dict[int, Slots] = {}
    for heat in snapshot["heats"]:
        for slot in heat["slots"]:
            found.setdefault(slot["pilot_id"], []).append({**slot, "heat": heat["heat"]})
    return found


def _mhz(slots: Slots) -> set[int]:
    return {slot["mhz"] for slot in slots}


def _heats(slots: Slots) -> list[int]:
    return [slot["heat"] for slot in slots]


def _powers(slots: Slots) -> set[float]:
    return {slot["power_mw"] for slot in slots}


def _coming(slots: Slots) -> str:
    first = slots[0]
    return _(
        "%(callsign)s comes in: %(channel)s, %(heats)s",
        callsign=first["callsign"],
        channel=_channel(first["channel"], first["mhz"]),
        heats=_heat_words(slots),
    )


def _channel(label: str | None, mhz: int) -> str:
    return f"{label} {mhz}" if label else f"{mhz} MHz"


def _heat_words(slots: Slots) -> str:
    return _numbered(_heats(slots))


def _numbered(heats: list[int]) -> str:
    names = listed(str(number) for number in heats)
    return ngettext("heat %(numbers)s", "heats %(numbers)s", len(heats), numbers=names)


def _power_words(slots: Slots) -> str:
    return listed(f"{short_decimal(power_mw)} mW" for power_mw in sorted(_powers(slots)))
