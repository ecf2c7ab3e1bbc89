"""A test of a bad picture in words: what is done, what is asked, and what each press says.

No test powers anything off in the air: aircraft fly to the far end or nearer, a receiver is looked at, or the
pilot lands first.
"""

from collections.abc import Sequence
from typing import Any

from server.allocator.trouble_air import Air
from server.allocator.trouble_tests import NO, PLAIN_DB, YES, SafeTest, names, names_loud, names_weak
from server.services.trouble_words import joined, set_channel

FOR = "twenty seconds"
NAMED_IN_THE_PITS = 3


def facts_of_test(test: SafeTest, air: Air, callsign: str, in_the_pits: Sequence[str]) -> dict[str, Any]:
    """What the desk shows of one test, as plain JSON values.

    in_the_pits  callsigns, the likeliest to be on there first

    do        what is done, to be read out
    question  what is asked then
    presses   pairs of an outcome and the words of its button
    """
    first = test.who[0] if test.who else ""
    stays = f"{callsign} stays where the picture is bad"
    asked = joined(tuple(in_the_pits[:NAMED_IN_THE_PITS]), "and") if in_the_pits else "everybody"
    mine, one_by_one = set_channel(air, callsign), "one after the other"
    do = {
        "pits": f"Ask the pits aloud who is on, {asked} first. Who is on there powers off at once.",
        "far": f"{stays}. {first} flies to the far end for {FOR}.",
        "all far": f"{stays}. Everybody else flies to the far end for {FOR}.",
        "who far": f"{stays}. The others fly to the far end for {FOR} each, {one_by_one}: {', '.join(test.who)}.",
        "nearer": f"{callsign} flies at half the distance.",
        "other receiver": f"Look at {mine} on another receiver, beside {callsign}'s.",
        "channel": f"{first} flies near. The desk's receiver takes the readings of a picture check.",
        "sweep": f"Everybody passes the desk, {one_by_one}. Its receiver reads channel and level of each.",
        "level": _level(air, callsign, first) if test.kind == "level" else "",
        "still on": f"The desk's receiver looks at the channel of {first}'s lost transmitter.",
        "landed": f"{callsign} lands, disarms and powers off. Then the desk's receiver looks at {mine}.",
    }[test.kind]
    question, presses = _asked(test, air, callsign)
    return {"kind": test.kind, "who": list(test.who), "do": do, "question": question, "presses": presses}


def _asked(test: SafeTest, air: Air, callsign: str) -> tuple[str, list[tuple[str, str]]]:
    first = test.who[0] if test.who else ""
    if test.kind == "who far":
        return f"Who cleared {callsign}'s picture?", [
            *((names(one), one) for one in test.who),
            (NO, "Nobody"),
        ]
    if test.kind == "sweep":
        return "What stands out most?", [
            *((names(one), f"{one} is off its channel") for one in test.who),
            *((names_loud(one), f"{one} is too loud") for one in test.who[1:]),
            (names_weak(callsign), f"{callsign} is too weak"),
            (NO, "Nothing"),
        ]
    cleared = (f"Did {callsign}'s picture clear?", "It cleared", "No change")
    given = set_channel(air, first) if test.kind == "channel" else ""
    went_off = f"Was somebody on there, and did {callsign}'s picture clear as it went off?"
    question, yes, no = {
        "pits": (went_off, "On, and it cleared", "Nobody, or no change"),
        "other receiver": ("Is the picture as bad there?", "As bad there", "Clear there"),
        "channel": (f"Is {first} on {given}?", "On it", "Off it"),
        "level": (
            f"Is {callsign} weaker by {PLAIN_DB:g} dB or more?",
            "Plainly weaker",
            "About as it should be",
        ),
        "still on": ("Is its picture still there?", "Still there", "Gone"),
        "landed": ("Is something still on it?", "Something is", "It is empty"),
    }.get(test.kind, cleared)
    return question, [(YES, yes), (NO, no)]


def _level(air: Air, callsign: str, other: str) -> str:
    mine, theirs = (air.fliers[air.place(name)].seat.power_mw for name in (callsign, other))
    allowed = "" if mine == theirs else f", and allows for {mine:g} mW against {theirs:g} mW"
    return (
        f"{callsign} and {other} pass the desk equally near. Its receiver reads the level of both{allowed}."
    )
