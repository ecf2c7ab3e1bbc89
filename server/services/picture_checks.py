"""The picture check: is a transmitter on the channel that it claims?

The desk's receiver on that channel answers yes or no. In doubt it reads levels where the tool asks for them. Where
a receiver's automatic search has stopped is no answer: it often stops on a neighbour 10 MHz away.
"""

import json
import re
from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from server.radio.errors import TuningError
from server.radio.tuning import parse_tuning
from server.services import channel_confirmation, lineup
from server.services.bench_checks import flying_seen
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.picture_findings import BARS, DB, UNITS, Read, Readings, named, named_all
from server.services.pilots import check_open
from server.services.roster_rows import log
from server.services.video import ANALOGUE
from server.services.words_below import translated
from server.storage import picture_checks as stored
from server.storage import pilots
from server.storage.tables import (
    CHANNEL_IN_DOUBT,
    CHANNEL_RIGHT,
    CHANNEL_WRONG,
    Aircraft,
    FieldDay,
    PictureCheck,
    Pilot,
)
from server.wording import gettext as _
from server.wording import short_decimal

YES, NO = "yes", "no"
KEPT_READINGS = 12
"""Of one check: whoever needs more sets the transmitter anew."""

_LEVEL = re.compile(r"[+-]?[0-9]{1,3}([.,][0-9])?")
_BARS = re.compile(r"[0-9]{1,2}")
_MINUS = str.maketrans("\N{MINUS SIGN}\N{EN DASH}", "--")


def seen_of(check: PictureCheck | None, flying: Aircraft, mhz: int) -> str:
    """What a form repeats of the picture check that its page shows."""
    of_check = f"{check.id}.{check.version}" if check else "none"
    return f"{lineup.gear_mark(flying)} {mhz} {of_check}"


def check_of_now(session: Session, day: FieldDay, pilot: Pilot) -> PictureCheck | None:
    """The latest check, if it was about this aircraft, this set-up and this channel."""
    assert pilot.id is not None
    check = stored.latest_of(session, pilot.id)
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    mhz = channel_confirmation.channel_now(session, day, pilot)
    return check if channel_confirmation.is_of_now(check, flying, mhz) else None


def readings_of(check: PictureCheck, flying: Aircraft) -> Readings:
    """What was read in a check, with what it says."""
    reads = [Read(**one) for one in json.loads(check.readings_json)]
    return Readings(reads, check.mhz, lineup.setup_of(flying))


def answer(
    session: Session, day: FieldDay, pilot: Pilot, said: str, seen: str, who: str, at: datetime
) -> PictureCheck:
    """Note whether the desk's receiver, set to the channel by hand, shows this aircraft's picture: yes or no.

    Raises OvertakenError where the page is old, RefusedError where there is nothing to check.
    """
    if said not in (YES, NO):
        raise InputError({"said": _("Answer yes or no.")})
    flying, mhz = _checked(session, day, pilot, seen)[:2]
    check = _begin(
        session, day, pilot, flying, mhz, CHANNEL_RIGHT if said == YES else CHANNEL_IN_DOUBT, who, at
    )
    text = (
        _(
            "%(callsign)s: picture check, on %(channel)s: the desk's receiver shows it.",
            callsign=pilot.callsign,
            channel=named(mhz),
        )
        if said == YES
        else _(
            "%(callsign)s: picture check, %(channel)s is in doubt: the desk's receiver does not show it.",
            callsign=pilot.callsign,
            channel=named(mhz),
        )
    )
    _log(session, day, pilot, check, who, "picture check", text, at)
    return check


def read(
    session: Session,
    day: FieldDay,
    pilot: Pilot,
    typed: Mapping[str, str],
    seen: str,
    who: str,
    at: datetime,
) -> PictureCheck:
    """Take one reading; where it makes sure of the channel, the check ends with it.

    typed  `tuned`, a channel or MHz; `level`, a number; `unit`, of UNITS, that of the first reading counts

    Raises InputError with the faults of all fields, OvertakenError, RefusedError.
    """
    flying, mhz, check = _checked(session, day, pilot, seen)
    is_open = check is not None and check.verdict == CHANNEL_IN_DOUBT
    before = readings_of(check, flying).reads if check is not None and is_open else ()
    taken = _read(typed, before)
    if len(before) >= KEPT_READINGS:
        raise RefusedError(
            _(
                "%(number)s readings are enough: set the transmitter anew, then start again.",
                number=KEPT_READINGS,
            )
        )
    if check is None or not is_open:
        check = _begin(session, day, pilot, flying, mhz, CHANNEL_IN_DOUBT, who, at)
    readings = Readings([*before, taken], mhz, lineup.setup_of(flying))
    _conclude(check, readings, who, at)
    text = _(
        "%(callsign)s: read %(level)s %(unit)s on %(channel)s. %(said)s",
        callsign=pilot.callsign,
        level=short_decimal(taken.level),
        unit=taken.unit,
        channel=named(taken.tuned_mhz),
        said=_said(check),
    )
    _log(session, day, pilot, check, who, "picture check", text.strip(), at)
    return check


def decide(
    session: Session, day: FieldDay, pilot: Pilot, verdict: str, seen: str, who: str, at: datetime
) -> PictureCheck:
    """End a check that readings leave in doubt, by the word of the people at the desk.

    Raises RefusedError where bars contradict the channel and it is to be right, or nothing is in doubt.
    """
    if verdict not in (CHANNEL_RIGHT, CHANNEL_WRONG):
        raise InputError({"verdict": _("Say whether the channel is right or wrong.")})
    flying, mhz, check = _checked(session, day, pilot, seen)
    if check is None or check.verdict != CHANNEL_IN_DOUBT:
        raise RefusedError(
            _(
                "No picture check of %(callsign)s is in doubt: look at the page as it is now.",
                callsign=pilot.callsign,
            )
        )
    readings = readings_of(check, flying)
    if verdict == CHANNEL_RIGHT and readings.is_consistent is not True:
        raise RefusedError(
            _("Nothing that was read speaks for %(channel)s: set the transmitter anew.", channel=named(mhz))
        )
    check.verdict, check.who, check.at = verdict, who, at
    found = [one for one in readings.consistent_mhz if one != mhz] if verdict == CHANNEL_WRONG else []
    check.found_json = json.dumps(found)
    values = {"callsign": pilot.callsign, "channel": named(mhz)}
    if verdict == CHANNEL_RIGHT:
        text = _(
            "%(callsign)s: picture check, %(channel)s taken for right by the word of the desk.", **values
        )
    else:
        text = _(
            "%(callsign)s: picture check, %(channel)s taken for wrong by the word of the desk.", **values
        )
    _log(session, day, pilot, check, who, "picture check", text, at)
    return check


def take_back(session: Session, day: FieldDay, pilot: Pilot, seen: str, who: str, at: datetime) -> None:
    """Undo the last step: the last reading, else the answer. Raises as `answer` does."""
    flying, mhz, check = _checked(session, day, pilot, seen)
    if check is None:
        return
    reads = readings_of(check, flying).reads
    is_by_hand = check.verdict != CHANNEL_IN_DOUBT and check.verdict != _verdict_of(check, flying)
    if is_by_hand and reads:
        check.verdict, check.found_json, check.chance = CHANNEL_IN_DOUBT, "[]", None
        text = _(
            "%(callsign)s: picture check of %(channel)s is in doubt again.",
            callsign=pilot.callsign,
            channel=named(mhz),
        )
    elif reads:
        last = reads[-1]
        _conclude(check, Readings(reads[:-1], mhz, lineup.setup_of(flying)), who, at)
        text = _(
            "%(callsign)s: the reading on %(channel)s is taken back.",
            callsign=pilot.callsign,
            channel=named(last.tuned_mhz),
        )
    else:
        check.is_void = True
        text = _(
            "%(callsign)s: picture check of %(channel)s is taken back.",
            callsign=pilot.callsign,
            channel=named(mhz),
        )
    _log(session, day, pilot, check, who, "picture check undone", text, at)


def start_again(session: Session, day: FieldDay, pilot: Pilot, seen: str, who: str, at: datetime) -> None:
    """Forget what was found: the transmitter was set anew. Raises as `answer` does."""
    mhz, check = _checked(session, day, pilot, seen)[1:]
    if check is None:
        return
    assert pilot.id is not None
    stored.void_all_of(session, pilot.id)
    text = _(
        "%(callsign)s: set anew to %(channel)s, to be checked again.",
        callsign=pilot.callsign,
        channel=named(mhz),
    )
    _log(session, day, pilot, check, who, "picture check started again", text, at)


def _checked(
    session: Session, day: FieldDay, pilot: Pilot, seen: str
) -> tuple[Aircraft, int, PictureCheck | None]:
    """The aircraft, its channel and its latest check, if they are what the page showed."""
    check_open(day)
    flying = flying_seen(session, pilot, seen.partition(" ")[0])
    if flying.video != ANALOGUE:
        raise RefusedError(
            _("Other than analogue video shows no picture here: agree on its place with the director.")
        )
    mhz = channel_confirmation.channel_now(session, day, pilot)
    if mhz is None:
        raise RefusedError(
            _("%(callsign)s has no channel yet: give one at the desk first.", callsign=pilot.callsign)
        )
    check = check_of_now(session, day, pilot)
    if seen_of(check, flying, mhz) != seen:
        raise OvertakenError(
            _(
                "%(callsign)s's channel or its check changed since this page was loaded. Look at it and "
                "press again.",
                callsign=pilot.callsign,
            )
        )
    return flying, mhz, check


def _begin(
    session: Session,
    day: FieldDay,
    pilot: Pilot,
    flying: Aircraft,
    mhz: int,
    verdict: str,
    who: str,
    at: datetime,
) -> PictureCheck:
    assert day.id is not None
    assert pilot.id is not None
    assert flying.id is not None
    return stored.add(
        session,
        PictureCheck(
            field_day_id=day.id,
            pilot_id=pilot.id,
            aircraft_id=flying.id,
            gear=lineup.gear_mark(flying),
            mhz=mhz,
            verdict=verdict,
            who=who,
            at=at,
        ),
    )


def _conclude(check: PictureCheck, readings: Readings, who: str, at: datetime) -> None:
    """Write into a check what its readings say."""
    check.readings_json = json.dumps(
        [{"tuned_mhz": one.tuned_mhz, "level": one.level, "unit": one.unit} for one in readings.reads]
    )
    check.verdict, check.who, check.at = readings.verdict, who, at
    check.found_json, check.chance = "[]", None
    if check.verdict == CHANNEL_WRONG:
        likeliest = readings.finding.likeliest
        check.found_json, check.chance = json.dumps(likeliest.carriers_mhz), likeliest.chance
    elif check.verdict == CHANNEL_RIGHT:
        check.chance = readings.finding.chance_of(check.mhz)


def _verdict_of(check: PictureCheck, flying: Aircraft) -> str:
    return readings_of(check, flying).verdict


def _said(check: PictureCheck) -> str:
    if check.verdict == CHANNEL_RIGHT:
        return _("It is on %(channel)s.", channel=named(check.mhz))
    if check.verdict == CHANNEL_WRONG:
        return _(
            "It is on %(others)s, not on %(channel)s.",
            others=named_all(json.loads(check.found_json)),
            channel=named(check.mhz),
        )
    return ""


def _read(typed: Mapping[str, str], before: tuple[Read, ...]) -> Read:
    """Raises InputError with the faults of all fields."""
    faults = {}
    unit = before[0].unit if before else typed.get("unit", DB)
    if unit not in UNITS:
        faults["unit"] = _("Choose dB or bars, whichever the receiver shows.")
    tuned_mhz = 0
    try:
        carriers = parse_tuning(typed.get("tuned", "")).mhz
        if len(carriers) == 1:
            tuned_mhz = carriers[0]
        else:
            faults["tuned"] = _("Type one channel or its MHz, such as R3 or 5732.")
    except TuningError as error:
        sentence = f"{translated(error.problem)}: {translated(error.cure)}."
        faults["tuned"] = f"{sentence[:1].upper()}{sentence[1:]}"
    if tuned_mhz in {one.tuned_mhz for one in before}:
        faults["tuned"] = _(
            "%(channel)s was read already: read another channel, or take that reading back.",
            channel=named(tuned_mhz),
        )
    level = typed.get("level", "").strip().translate(_MINUS)
    if not (_BARS if unit == BARS else _LEVEL).fullmatch(level):
        faults["level"] = (
            _("Count the bars that are lit: a whole number from 0 to 99.")
            if unit == BARS
            else _(
                "Type the number that the receiver shows, such as -48 or %(example)s.",
                example=short_decimal(62.5),
            )
        )
    if faults:
        raise InputError(faults)
    return Read(tuned_mhz, float(level.replace(",", ".")), unit)


def _log(
    session: Session,
    day: FieldDay,
    pilot: Pilot,
    check: PictureCheck,
    who: str,
    action: str,
    text: str,
    at: datetime,
) -> None:
    session.flush()
    facts = {
        "check_id": check.id,
        "aircraft_id": check.aircraft_id,
        "mhz": check.mhz,
        "verdict": check.verdict,
        "found_mhz": json.loads(check.found_json),
        "readings": json.loads(check.readings_json),
    }
    log(session, day, pilot, who, action, text, facts, at)
