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
from server.services.words_below import translated
from server.wording import gettext as _
from server.wording import listed, marked, short_decimal

NAMED_IN_THE_PITS = 3

SYMPTOM_WORDS: Mapping[str, str] = {
    "another picture": marked("Somebody else's picture"),
    "lines": marked("Lines or bars across it"),
    "snow far out": marked("Snow that grows with the distance"),
    "flicker": marked("Flicker when one pilot is near"),
    "black": marked("Black, or no picture"),
}
ONSET_WORDS: Mapping[str, str] = {
    "from the start": marked("From the start"),
    "suddenly": marked("All of a sudden"),
}


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
        "numbers": _("The picture would then be %(margin)s", margin=margin_words(rounded(cause.margin_db))),
        "cure": cure(cause, air, callsign, planned),
    }


def title(cause: Cause, air: Air, callsign: str) -> str:
    """What it is, in a few words."""
    first = cause.who[0] if cause.who else ""
    return {
        "carrier": lambda: _(
            "%(callsign)s's carrier, %(offset)s, louder than planned",
            callsign=first,
            offset=_offset(cause, air, callsign),
        ),
        "product": lambda: _(
            "Products of %(products)s in %(callsign)s's receiver",
            products=listed(cause.who),
            callsign=callsign,
        ),
        "wrong channel": lambda: _(
            "%(callsign)s is on %(channel)s, not %(given)s",
            callsign=first,
            channel=_named(air, first, cause.mhz),
            given=set_channel(air, first),
        ),
        "pits": lambda: pits_title(cause.who),
        "down": lambda: _("%(callsign)s's lost transmitter on %(mhz)s MHz", callsign=first, mhz=cause.mhz),
        "own channel": lambda: _(
            "%(callsign)s is on %(channel)s, not %(given)s",
            callsign=first,
            channel=_named(air, first, cause.mhz),
            given=set_channel(air, first),
        ),
        "link": lambda: _("%(callsign)s's own signal is too weak", callsign=first),
        "outside": lambda: _outside(cause, air),
    }[cause.kind]()


def pits_title(who: tuple[str, ...]) -> str:
    """Who is likeliest to be on there stands first."""
    return _("Somebody is on in the pits: %(pilots)s first", pilots=either(who[:NAMED_IN_THE_PITS]))


def cure(cause: Cause, air: Air, callsign: str, planned: Callable[[], str]) -> str:
    """The smallest change that ends it."""
    first = cause.who[0] if cause.who else ""
    if cause.kind in ("wrong channel", "own channel"):
        return _(
            "%(callsign)s lands, disarms, powers off and sets %(channel)s. Nobody else moves.",
            callsign=first,
            channel=set_channel(air, first),
        )
    if cause.kind == "pits":
        return _("Whoever is on powers off, and asks for clearance next time. Nobody moves.")
    if cause.kind == "carrier" and first:
        power_mw = air.fliers[air.place(first)].seat.power_mw
        return _(
            "%(callsign)s lands and sets %(power)s mW. If it has that already: %(planned)s",
            callsign=first,
            power=short_decimal(power_mw),
            planned=planned(),
        )
    if cause.kind == "link":
        return _("Antenna and plug, then power: %(louder)s", louder=_louder(air, callsign))
    if cause.kind == "outside":
        heard = _with_signal(cause, air)
        noted = _("Note it under Also on the air, and take the row with the fewest moves.")
        return f"{noted} {_sentence(best_change(heard, callsign) if heard is not air else planned())}"
    return _sentence(planned())


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def best_change(air: Air, callsign: str) -> str:
    """The best single change by the planner's own advice for this slot."""
    seats = [one.seat for one in air.fliers]
    place = air.place(callsign)
    best = next(iter(advise(seats, air.problem)[place].best), None)
    if best is None:
        return _("no single move, power or pilot fewer betters this slot: plan again.")
    who = seats[best.place].pilot.callsign
    return _(
        "%(change)s: this slot then has %(margin)s, the heat's worst %(worst)s.",
        change=_change(best, air, who),
        margin=signed_db(best.margins_db[place]),
        worst=signed_db(best.worst_db),
    )


def _change(change: Change, air: Air, who: str) -> str:
    if change.mhz:
        return _("%(who)s lands and moves to %(channel)s", who=who, channel=_named(air, who, change.mhz))
    if change.power_mw:
        return _("%(who)s lands and sets %(power)s mW", who=who, power=short_decimal(change.power_mw))
    return _("one pilot fewer, %(who)s lands", who=who)


def _louder(air: Air, callsign: str) -> str:
    seat = air.fliers[air.place(callsign)].seat
    above = [step for step in seat.pilot.power_steps_mw if step > seat.power_mw]
    if not above:
        return _(
            "%(callsign)s has no step above %(power)s mW and flies nearer.",
            callsign=callsign,
            power=short_decimal(seat.power_mw),
        )
    return _(
        "%(callsign)s sets %(power)s mW after landing, or flies nearer.",
        callsign=callsign,
        power=short_decimal(min(above)),
    )


def _outside(cause: Cause, air: Air) -> str:
    words = translated(cause.who[0])
    if _is_noted(cause, air):
        return f"{words[:1].upper()}{words[1:]}"
    return _("Something that nobody has noted, on %(mhz)s MHz", mhz=cause.mhz)


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
    if not offset:
        return _("on the same channel")
    if offset > 0:
        return _("%(mhz)s MHz above", mhz=offset)
    return _("%(mhz)s MHz below", mhz=-offset)


def set_channel(air: Air, callsign: str) -> str:
    """The channel that somebody in the air was given, "R2 5695"."""
    return _named(air, callsign, air.fliers[air.place(callsign)].seat.mhz)


def _named(air: Air, callsign: str, mhz: int | None) -> str:
    """ "R2 5695", by the pilot's own label where there is one."""
    pilot = air.fliers[air.place(callsign)].seat.pilot
    label = label_at(mhz, pilot.labels) if mhz else None
    label = label or next(iter(labels_at(mhz or 0)), None)
    return f"{label} {mhz}" if label else f"{mhz} MHz"


def either(names: tuple[str, ...]) -> str:
    """ "Otter, Rook or Quill"."""
    *rest, last = names
    return _("%(names)s or %(last)s", names=", ".join(rest), last=last) if rest else last
