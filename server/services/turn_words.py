"""What people are told about a turn: the word for the transmitter, why they wait, what to do."""

from server.allocator.open_flying import Wait, Why
from server.services.transmitter_words import (
    DISARM_THEN_POWER_OFF,
    FLY,
    LAND,
    POWER_UP,
    STAY_OFF,
    Facts,
    Word,
)
from server.storage import tables
from server.storage.tables import Turn
from server.wording import gettext as _
from server.wording import listed, marked, ngettext

BY_ITSELF = marked("bandstand")
"""Who it was, for the logbook, where nobody pressed anything."""


def is_known_on(turn: Turn) -> bool:
    return turn.picture_at is not None


def facts_of(turn: Turn, is_open: bool, is_here: bool, in_doubt: bool) -> Facts:
    """What the word of a pilot with a turn hangs on, as far as open flying knows it.

    is_open   open flying is on; when it is closed, everybody lands
    is_here   the pilot is on the roster still
    in_doubt  the gear or the channel changed since the place was given
    """
    return Facts(
        turn=turn.stage,
        turn_was_on=is_known_on(turn),
        is_called_off=not (is_open and is_here),
        in_doubt=in_doubt,
    )


def waits_because(callsign: str, wait: Wait) -> str:
    """Why this pilot waits, as one sentence."""
    others, number = listed(wait.callsigns), len(wait.callsigns)
    return {
        Why.NO_CHANNEL: _(
            "No channel of %(callsign)s's gear is in use today: tell the desk.", callsign=callsign
        ),
        Why.FULL: _("As many are up as may be. A place gets free when somebody lands."),
        Why.APART: ngettext(
            "%(others)s is up: %(callsign)s's spotter, or not to fly beside %(callsign)s.",
            "%(others)s are up: %(callsign)s's spotter, or not to fly beside %(callsign)s.",
            number,
            others=others,
            callsign=callsign,
        ),
        Why.NO_SPACE: _(
            "Every channel of %(callsign)s's gear is too close to one in use now.", callsign=callsign
        ),
        Why.PICTURE: _("One more now would leave %(others)s a picture too bad to fly with.", others=others),
        Why.COMPANY: _(
            "%(others)s came first: %(callsign)s's spotter, or not to fly beside %(callsign)s.",
            others=others,
            callsign=callsign,
        ),
        Why.TURN: ngettext(
            "%(others)s came first and was passed over already: nobody more goes before.",
            "%(others)s came first and were passed over already: nobody more goes before.",
            number,
            others=others,
        ),
    }[wait.why]


def on_outside(callsign: str) -> str:
    """Why nobody is given a place who may be on outside a call: a place says not to power."""
    return _("%(callsign)s may be on outside a call: a place comes once it is off.", callsign=callsign)


def what_next(turn: Turn, word: Word, is_open: bool, in_doubt: bool, named: str, queue: str) -> str:
    """What the pilot does now, after the word, as one or two sentences.

    named   the channel as the pilot knows it; empty in the queue
    queue   where in the queue, as a sentence; empty with a place
    """
    if turn.stage == tables.WAITING:
        return f"{queue} {turn.why if is_open else _('Open flying is closed; you keep this place in it.')}"
    if turn.stage == tables.DOWN:
        return _("Others keep off your channel. Found and powered off? Press the button.")
    if word == LAND:
        return _("Fly home and land. Then disarm, power off, and press the button.")
    if word == DISARM_THEN_POWER_OFF:
        return _("You are called back. In the air? Fly home first. Off already? Press the button.")
    if word == STAY_OFF and not in_doubt:
        return _("You are called back. Is the transmitter on? Power off, then press the button.")
    if in_doubt:
        return _(
            "Your gear changed, or the channel went out of use, since you got this place. Tell the director."
        )
    if word == FLY:
        return _("The place is yours until you land. Then disarm, power off, and press the button.")
    if word == POWER_UP:
        return _("Power up on %(channel)s. Clear picture, or a problem? Press its button.", channel=named)
    if turn.stage == tables.POWER_UP:
        return _("Walkers are on the field: do not power up. On already? Leave the motors disarmed and wait.")
    if turn.confirmed_at is None:
        return _(
            "The place is yours. Set the transmitter to %(channel)s, then press the button. Do not power yet.",
            channel=named,
        )
    return turn.why or _("Do not power yet.")


def ordinal(number: int) -> str:
    """1 → "1st"."""
    ending = 4 if number % 100 in (11, 12, 13) else number % 10
    if ending == 1:
        return _("%(number)sst", number=number)
    if ending == 2:
        return _("%(number)snd", number=number)
    return _("%(number)srd", number=number) if ending == 3 else _("%(number)sth", number=number)
