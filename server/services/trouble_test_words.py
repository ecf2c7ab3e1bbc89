"""A test of a bad picture in words: what is done, what is asked, and what each press says.

No test powers anything off in the air: aircraft fly to the far end or nearer, a receiver is looked at, or the
pilot lands first.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.allocator.trouble_air import Air
from server.allocator.trouble_tests import NO, PLAIN_DB, YES, SafeTest, names, names_loud, names_weak
from server.services.trouble_words import set_channel
from server.wording import gettext as _
from server.wording import listed, short_decimal

NAMED_IN_THE_PITS = 3


def facts_of_test(test: SafeTest, air: Air, callsign: str, in_the_pits: Sequence[str]) -> dict[str, Any]:
    """What the desk shows of one test, as plain JSON values.

    in_the_pits  callsigns, the likeliest to be on there first

    do        what is done, to be read out
    question  what is asked then
    presses   pairs of an outcome and the words of its button
    """
    do = _DO[test.kind](_Names(air, callsign, test.who, in_the_pits))
    question, presses = _asked(test, air, callsign)
    return {"kind": test.kind, "who": list(test.who), "do": do, "question": question, "presses": presses}


def _asked(test: SafeTest, air: Air, callsign: str) -> tuple[str, list[tuple[str, str]]]:
    first = test.who[0] if test.who else ""
    if test.kind == "who far":
        return _("Who cleared %(callsign)s's picture?", callsign=callsign), [
            *((names(one), one) for one in test.who),
            (NO, _("Nobody")),
        ]
    if test.kind == "sweep":
        return _("What stands out most?"), [
            *((names(one), _("%(callsign)s is off its channel", callsign=one)) for one in test.who),
            *((names_loud(one), _("%(callsign)s is too loud", callsign=one)) for one in test.who[1:]),
            (names_weak(callsign), _("%(callsign)s is too weak", callsign=callsign)),
            (NO, _("Nothing")),
        ]
    cleared = (_("Did %(callsign)s's picture clear?", callsign=callsign), _("It cleared"), _("No change"))
    given = set_channel(air, first) if test.kind == "channel" else ""
    went_off = _(
        "Was somebody on there, and did %(callsign)s's picture clear as it went off?", callsign=callsign
    )
    question, yes, no = {
        "pits": (went_off, _("On, and it cleared"), _("Nobody, or no change")),
        "other receiver": (_("Is the picture as bad there?"), _("As bad there"), _("Clear there")),
        "channel": (
            _("Is %(callsign)s on %(channel)s?", callsign=first, channel=given),
            _("On it"),
            _("Off it"),
        ),
        "level": (
            _(
                "Is %(callsign)s weaker by %(decibels)s dB or more?",
                callsign=callsign,
                decibels=short_decimal(PLAIN_DB),
            ),
            _("Plainly weaker"),
            _("About as it should be"),
        ),
        "still on": (_("Is its picture still there?"), _("Still there"), _("Gone")),
        "landed": (_("Is something still on it?"), _("Something is"), _("It is empty")),
    }.get(test.kind, cleared)
    return question, [(YES, yes), (NO, no)]


@dataclass(frozen=True)
class _Names:
    """Whom a test is about: who sees the trouble, who has something to do, and who may be on in the pits."""

    air: Air
    callsign: str
    who: Sequence[str]
    in_the_pits: Sequence[str]

    @property
    def first(self) -> str:
        return self.who[0] if self.who else ""

    @property
    def channel(self) -> str:
        return set_channel(self.air, self.callsign)


def _pits(names: _Names) -> str:
    if not names.in_the_pits:
        return _("Ask the pits aloud who is on, everybody first. Who is on there powers off at once.")
    return _(
        "Ask the pits aloud who is on, %(pilots)s first. Who is on there powers off at once.",
        pilots=listed(names.in_the_pits[:NAMED_IN_THE_PITS]),
    )


def _level(names: _Names) -> str:
    mine, theirs = (
        names.air.fliers[names.air.place(name)].seat.power_mw for name in (names.callsign, names.first)
    )
    pilots = {"callsign": names.callsign, "other": names.first}
    if mine == theirs:
        return _(
            "%(callsign)s and %(other)s pass the desk equally near. Its receiver reads the level of both.",
            **pilots,
        )
    return _(
        "%(callsign)s and %(other)s pass the desk equally near. Its receiver reads the level of both, and "
        "allows for %(mine)s mW against %(theirs)s mW.",
        mine=short_decimal(mine),
        theirs=short_decimal(theirs),
        **pilots,
    )


_DO: Mapping[str, Callable[[_Names], str]] = {
    "pits": _pits,
    "far": lambda names: _(
        "%(callsign)s stays where the picture is bad. %(other)s flies to the far end for twenty seconds.",
        callsign=names.callsign,
        other=names.first,
    ),
    "all far": lambda names: _(
        "%(callsign)s stays where the picture is bad. Everybody else flies to the far end for twenty seconds.",
        callsign=names.callsign,
    ),
    "who far": lambda names: _(
        "%(callsign)s stays where the picture is bad. The others fly to the far end for twenty seconds each, "
        "one after the other: %(who)s.",
        callsign=names.callsign,
        who=", ".join(names.who),
    ),
    "nearer": lambda names: _("%(callsign)s flies at half the distance.", callsign=names.callsign),
    "other receiver": lambda names: _(
        "Look at %(channel)s on another receiver, beside %(callsign)s's.",
        channel=names.channel,
        callsign=names.callsign,
    ),
    "channel": lambda names: _(
        "%(callsign)s flies near. The desk's receiver takes the readings of a picture check.",
        callsign=names.first,
    ),
    "sweep": lambda _names: _(
        "Everybody passes the desk, one after the other. Its receiver reads channel and level of each."
    ),
    "level": _level,
    "still on": lambda names: _(
        "The desk's receiver looks at the channel of %(callsign)s's lost transmitter.", callsign=names.first
    ),
    "landed": lambda names: _(
        "%(callsign)s lands, disarms and powers off. Then the desk's receiver looks at %(channel)s.",
        callsign=names.callsign,
        channel=names.channel,
    ),
}
"""What is done, by the kind of test."""
