"""A cause of trouble in words: what it is, the quickest safe test, and the smallest change that cures it.

No test powers anything off in the air: aircraft are flown to the far end, or land first.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from server.allocator.advice import Change, advise
from server.allocator.trouble import Cause
from server.allocator.trouble_air import Air
from server.allocator.trouble_effects import USUAL_SIGNAL
from server.radio.channels import labels_at
from server.radio.outside import OutsideSignal
from server.services.gear import label_at
from server.services.margin_words import margin_words, rounded, signed_db

FAR_FOR = "ten seconds"
NAMED_IN_THE_PITS = 3

SYMPTOM_WORDS: Mapping[str, str] = {
    "another picture": "Somebody else's picture",
    "lines": "Lines or bars across it",
    "snow far out": "Snow that grows with the distance",
    "flicker": "Flicker when one pilot is near",
    "black": "Black, or no picture",
}
ONSET_WORDS: Mapping[str, str] = {"from the start": "From the start", "suddenly": "All of a sudden"}


def cause_facts(cause: Cause, air: Air, callsign: str) -> dict[str, Any]:
    """What the desk shows of one cause, as plain JSON values.

    test  what to do now; also what the pilots are told
    cure  what ends it, if the test says that it is this
    """
    return {
        "kind": cause.kind,
        "who": list(cause.who),
        "mhz": cause.mhz,
        "chance": round(cause.chance, 3),
        "margin_db": rounded(cause.margin_db),
        "title": title(cause, air, callsign),
        "numbers": f"The picture would then be {margin_words(rounded(cause.margin_db))}",
        "test": test(cause, callsign),
        "cure": cure(cause, air, callsign),
    }


def title(cause: Cause, air: Air, callsign: str) -> str:
    """What it is, in a few words."""
    first = cause.who[0] if cause.who else ""
    return {
        "carrier": lambda: f"{first}'s carrier, {_offset(cause, air, callsign)}, louder than planned",
        "product": lambda: f"Products of {_joined(cause.who, 'and')} in {callsign}'s receiver",
        "wrong channel": lambda: f"{first} is on {_named(air, first, cause.mhz)}, not {_set(air, first)}",
        "pits": lambda: f"Somebody is on in the pits: {_joined(cause.who[:NAMED_IN_THE_PITS], 'or')} first",
        "down": lambda: f"{first}'s lost transmitter on {cause.mhz} MHz",
        "own channel": lambda: f"{first} is on {_named(air, first, cause.mhz)}, not {_set(air, first)}",
        "link": lambda: f"{first}'s own signal is too weak",
        "outside": lambda: _outside(cause, air),
    }[cause.kind]()


def test(cause: Cause, callsign: str) -> str:
    """The quickest safe test, to be read out."""
    first = cause.who[0] if cause.who else ""
    land = f"{callsign} lands, disarms and powers off"
    return {
        "carrier": f"{first} flies to the far end for {FAR_FOR}. If {callsign}'s picture clears, it is {first}.",
        "product": f"{first} flies to the far end for {FAR_FOR}. If {callsign}'s picture clears at once, it is "
        "a product: it falls three times as fast as a carrier.",
        "wrong channel": f"{first} flies to the far end for {FAR_FOR}. If {callsign}'s picture clears, {first} "
        f"lands, and the desk's receiver looks at {cause.mhz} MHz before {first} disarms and powers off.",
        "pits": f"Ask the pits aloud who is on, {_joined(cause.who[:NAMED_IN_THE_PITS], 'and')} first. Who is "
        "on there does not fly and powers off at once.",
        "down": f"{callsign} flies well away from where {first} came down. If it clears, it is {first}.",
        "own channel": f"{callsign} flies near and lands. Before disarming and powering off, the desk's receiver "
        f"looks at {cause.mhz} MHz.",
        "link": f"{callsign} flies at half the distance. If the picture clears, the signal is too weak.",
        "outside": f"{land}. Then, with that transmitter off, the desk's receiver looks at the channel: what is "
        "still there is not ours.",
    }[cause.kind]


def cure(cause: Cause, air: Air, callsign: str) -> str:
    """The smallest change that ends it."""
    first = cause.who[0] if cause.who else ""
    if cause.kind in ("wrong channel", "own channel"):
        return f"{first} lands, disarms, powers off and sets {_set(air, first)}. Nobody else moves."
    if cause.kind == "pits":
        return "Whoever is on powers off, and asks for clearance next time. Nobody moves."
    if cause.kind == "carrier" and first:
        power_mw = air.fliers[air.place(first)].seat.power_mw
        return f"{first} lands and sets {power_mw:g} mW. If it has that already: {_planned(air, callsign)}"
    if cause.kind == "link":
        return f"Antenna and plug, then power: {_louder(air, callsign)}"
    if cause.kind == "outside":
        noted = "Note it under Also on the air, and take the row with the fewest moves."
        return f"{noted} {_sentence(_planned(_with_signal(cause, air), callsign))}"
    return _sentence(_planned(air, callsign))


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def _planned(air: Air, callsign: str) -> str:
    """The best single change by the planner's own advice for this slot."""
    seats = [one.seat for one in air.fliers]
    place = air.place(callsign)
    (best, *_) = [*advise(seats, air.problem)[place].best, None]
    if best is None:
        return "no single move, power or pilot fewer betters this slot: plan again."
    who = seats[best.place].pilot.callsign
    return (
        f"{_change(best, air, who)}: this slot then has {signed_db(best.margins_db[place])}, the heat's worst "
        f"{signed_db(best.worst_db)}."
    )


def _change(change: Change, air: Air, who: str) -> str:
    if change.mhz:
        return f"{who} lands and moves to {_named(air, who, change.mhz)}"
    if change.power_mw:
        return f"{who} lands and sets {change.power_mw:g} mW"
    return f"one pilot fewer, {who} lands"


def _louder(air: Air, callsign: str) -> str:
    seat = air.fliers[air.place(callsign)].seat
    above = [step for step in seat.pilot.power_steps_mw if step > seat.power_mw]
    if not above:
        return f"{callsign} has no step above {seat.power_mw:g} mW and flies nearer."
    return f"{callsign} sets {min(above):g} mW after landing, or flies nearer."


def _outside(cause: Cause, air: Air) -> str:
    words = cause.who[0]
    if _is_noted(cause, air):
        return f"{words[:1].upper()}{words[1:]}"
    return f"Something that nobody has noted, on {cause.mhz} MHz"


def _is_noted(cause: Cause, air: Air) -> bool:
    return cause.who[0] in {one.words for one in air.problem.site.outside}


def _with_signal(cause: Cause, air: Air) -> Air:
    """The air with a signal that nobody has noted where it is suspected."""
    if _is_noted(cause, air) or cause.mhz is None:
        return air
    site = air.problem.site
    heard = (*site.outside, OutsideSignal(cause.mhz, *USUAL_SIGNAL))
    return replace(air, problem=replace(air.problem, site=replace(site, outside=heard)))


def _offset(cause: Cause, air: Air, callsign: str) -> str:
    offset = (cause.mhz or 0) - air.fliers[air.place(callsign)].seat.mhz
    return f"{abs(offset)} MHz {'above' if offset > 0 else 'below'}" if offset else "on the same channel"


def _set(air: Air, callsign: str) -> str:
    return _named(air, callsign, air.fliers[air.place(callsign)].seat.mhz)


def _named(air: Air, callsign: str, mhz: int | None) -> str:
    """ "R2 5695", by the pilot's own label where there is one."""
    pilot = air.fliers[air.place(callsign)].seat.pilot
    label = label_at(mhz, pilot.labels) if mhz else None
    label = label or next(iter(labels_at(mhz or 0)), None)
    return f"{label} {mhz}" if label else f"{mhz} MHz"


def _joined(names: tuple[str, ...], word: str) -> str:
    *rest, last = names
    return f"{', '.join(rest)} {word} {last}" if rest else last
