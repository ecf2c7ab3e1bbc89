"""A cause of trouble in words: what it is, and the smallest change that cures it."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from server.allocator.advice import Change, advise
from server.allocator.trouble import Cause
from server.allocator.trouble_air import Air
from server.allocator.trouble_rates import USUAL_SIGNAL
from server.radio.channels import labels_at
from server.radio.outside import OutsideSignal
from server.services.gear import label_at
from server.services.margin_words import margin_words, rounded, signed_db

NAMED_IN_THE_PITS = 3

SYMPTOM_WORDS: Mapping[str, str] = {
    "another picture": "Somebody else's picture",
    "lines": "Lines or bars across it",
    "snow far out": "Snow that grows with the distance",
    "flicker": "Flicker when one pilot is near",
    "black": "Black, or no picture",
}
ONSET_WORDS: Mapping[str, str] = {"from the start": "From the start", "suddenly": "All of a sudden"}


def cause_facts(cause: Cause, air: Air, callsign: str, planned: Callable[[], str]) -> dict[str, Any]:
    """What the desk shows of one cause, as plain JSON values.

    planned  gives `best_change` of this air, asked for only where a cure needs it

    cure  what ends it
    """
    return {
        "kind": cause.kind,
        "who": list(cause.who),
        "mhz": cause.mhz,
        "chance": round(cause.chance, 3),
        "margin_db": rounded(cause.margin_db),
        "title": title(cause, air, callsign),
        "numbers": f"The picture would then be {margin_words(rounded(cause.margin_db))}",
        "cure": cure(cause, air, callsign, planned),
    }


def title(cause: Cause, air: Air, callsign: str) -> str:
    """What it is, in a few words."""
    first = cause.who[0] if cause.who else ""
    return {
        "carrier": lambda: f"{first}'s carrier, {_offset(cause, air, callsign)}, louder than planned",
        "product": lambda: f"Products of {joined(cause.who, 'and')} in {callsign}'s receiver",
        "wrong channel": lambda: (
            f"{first} is on {_named(air, first, cause.mhz)}, not {set_channel(air, first)}"
        ),
        "pits": lambda: pits_title(cause.who),
        "down": lambda: f"{first}'s lost transmitter on {cause.mhz} MHz",
        "own channel": lambda: (
            f"{first} is on {_named(air, first, cause.mhz)}, not {set_channel(air, first)}"
        ),
        "link": lambda: f"{first}'s own signal is too weak",
        "outside": lambda: _outside(cause, air),
    }[cause.kind]()


def pits_title(who: tuple[str, ...]) -> str:
    """Who is likeliest to be on there stands first."""
    return f"Somebody is on in the pits: {joined(who[:NAMED_IN_THE_PITS], 'or')} first"


def cure(cause: Cause, air: Air, callsign: str, planned: Callable[[], str]) -> str:
    """The smallest change that ends it."""
    first = cause.who[0] if cause.who else ""
    if cause.kind in ("wrong channel", "own channel"):
        return f"{first} lands, disarms, powers off and sets {set_channel(air, first)}. Nobody else moves."
    if cause.kind == "pits":
        return "Whoever is on powers off, and asks for clearance next time. Nobody moves."
    if cause.kind == "carrier" and first:
        power_mw = air.fliers[air.place(first)].seat.power_mw
        return f"{first} lands and sets {power_mw:g} mW. If it has that already: {planned()}"
    if cause.kind == "link":
        return f"Antenna and plug, then power: {_louder(air, callsign)}"
    if cause.kind == "outside":
        heard = _with_signal(cause, air)
        noted = "Note it under Also on the air, and take the row with the fewest moves."
        return f"{noted} {_sentence(best_change(heard, callsign) if heard is not air else planned())}"
    return _sentence(planned())


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def best_change(air: Air, callsign: str) -> str:
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


def set_channel(air: Air, callsign: str) -> str:
    """The channel that somebody in the air was given, "R2 5695"."""
    return _named(air, callsign, air.fliers[air.place(callsign)].seat.mhz)


def _named(air: Air, callsign: str, mhz: int | None) -> str:
    """ "R2 5695", by the pilot's own label where there is one."""
    pilot = air.fliers[air.place(callsign)].seat.pilot
    label = label_at(mhz, pilot.labels) if mhz else None
    label = label or next(iter(labels_at(mhz or 0)), None)
    return f"{label} {mhz}" if label else f"{mhz} MHz"


def joined(names: tuple[str, ...], word: str) -> str:
    """ "Otter, Rook and Quill", with this word before the last."""
    *rest, last = names
    return f"{', '.join(rest)} {word} {last}" if rest else last
