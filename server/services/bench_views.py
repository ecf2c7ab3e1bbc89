"""What the bench shows of one pilot: the items with their keys, the picture check, and leave to switch on."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.services import bench_checks, channel_confirmation, lineup, picture_checks, provisional
from server.services.bench_checks import BenchRow
from server.services.days import settings_of
from server.services.gear import label_at
from server.services.picture_findings import BARS, Readings, named, named_all
from server.services.provisional import ChannelToSet
from server.services.slots import slot_by_token
from server.services.transmitter_words import Word
from server.storage import clearances, pilots
from server.storage.tables import (
    BENCH_ITEMS,
    CHANNEL_IN_DOUBT,
    CHANNEL_WRONG,
    Aircraft,
    Clearance,
    FieldDay,
    PictureCheck,
    Pilot,
)
from server.wording import decimal, marked, short_decimal
from server.wording import gettext as _

WORDS: Mapping[str, tuple[str, str]] = {
    "failsafe": (marked("Failsafe cuts the motors"), marked("Arm, switch the radio off: the motors stop.")),
    "arming": (
        marked("Arming switch latches"),
        marked("Both ways tried, and the pilot says which way arms."),
    ),
    "link": (
        marked("Control link obeys its own radio only"),
        marked("Radio off, the neighbours' on: nothing moves."),
    ),
    "antenna": (marked("Antenna is on"), marked("Screwed tight, before any power.")),
    "power": (marked("Power is set"), marked("Read it back from the menu or the lamps.")),
}
"""What is looked at, and how."""

MOST_AT_RISK = 4

_PERCENT = "\N{NO-BREAK SPACE}%"


@dataclass(frozen=True)
class Item:
    """One line of the bench check; `press` is its key."""

    press: str
    item: str
    words: str
    how: str
    who: str = ""
    at: datetime | None = None

    @property
    def is_done(self) -> bool:
        return self.at is not None


@dataclass(frozen=True)
class Picture:
    """The picture check as it stands.

    seen      what a form repeats
    verdict   of VERDICTS; empty before the first answer
    found     where the transmitter is, in words, where that is known and not the claimed channel
    chance    how sure, in words; empty where nothing was computed
    said      one sentence about the readings so far
    ask_mhz   where to tune next; None where nothing more is asked for
    """

    seen: str
    claimed: str
    verdict: str = ""
    who: str = ""
    at: datetime | None = None
    readings: Readings | None = None
    found: str = ""
    chance: str = ""
    said: str = ""
    ask_mhz: int | None = None

    @property
    def ask(self) -> str:
        return named(self.ask_mhz) if self.ask_mhz else ""

    @property
    def likely(self) -> tuple[tuple[str, str], ...]:
        """Where it may be and how sure that is, in words; nothing from fewer than two readings, or from bars."""
        groups = self.readings.likely if self.readings else ()
        return tuple((named_all(one.carriers_mhz), chance_words(one.chance)) for one in groups)

    @property
    def in_bars(self) -> bool:
        return self.readings is not None and self.readings.unit == BARS


@dataclass(frozen=True)
class Bench:
    """One pilot at the bench.

    gear       what a tick repeats of the aircraft shown
    picture    None for a pilot without a channel, or with other than analogue video
    clearance  the live one; None where nobody asked
    word       what the pilot's own page says to do with the transmitter, and `reason` what stands beside it;
               `is_at_open_flying` where a turn there has the word
    at_risk    who would lose the picture to a transmitter on the wrong channel, as words
    to_go      everybody who is checked in and not through, this pilot left out
    """

    pilot: Pilot
    flying: Aircraft
    gear: str
    channel: ChannelToSet
    power_mw: float | None
    items: tuple[Item, ...]
    missing: tuple[str, ...]
    picture: Picture | None
    clearance: Clearance | None
    word: Word
    reason: str
    is_at_open_flying: bool
    at_risk: tuple[str, ...]
    to_go: tuple[BenchRow, ...]

    @property
    def leave_mark(self) -> str:
        """Changes with what is said about switching on."""
        return f"{self.clearance.version if self.clearance else 0} {self.word}"

    @property
    def next_row(self) -> BenchRow | None:
        """Who comes next, in the order of the list, from this pilot on."""
        after = [row for row in self.to_go if row.pilot.callsign_key > self.pilot.callsign_key]
        return next(iter(after or self.to_go), None)


def bench(session: Session, day: FieldDay, pilot: Pilot) -> Bench:
    """The bench as it stands for the aircraft that the pilot flies."""
    assert pilot.id is not None
    own = pilots.aircraft_of(session, pilot.id)
    flying = lineup.flying_of(pilot, own) or own[0]
    mhz = channel_confirmation.channel_now(session, day, pilot)
    channel = provisional.channel_to_set(day, pilot, flying, mhz)
    slot = lineup.published_slots(session, day).get(pilot.id)
    power_mw = slot["power_mw"] if slot and slot["mhz"] == mhz else channel.power_mw
    check = picture_checks.check_of_now(session, day, pilot)
    own_page = slot_by_token(session, pilot.link_token)
    return Bench(
        pilot=pilot,
        flying=flying,
        gear=lineup.gear_mark(flying),
        channel=channel,
        power_mw=power_mw,
        items=tuple(_items(session, flying, power_mw)),
        missing=bench_checks.missing(session, day, pilot),
        picture=_picture(check, flying, channel.mhz) if channel.mhz else None,
        clearance=clearances.live_of(session, pilot.id),
        word=own_page.word,
        reason=own_page.reason,
        is_at_open_flying=own_page.turn is not None and own_page.call is None,
        at_risk=_at_risk(session, day, pilot, check),
        to_go=tuple(
            row for row in bench_checks.rows(session, day) if row.missing and row.pilot.id != pilot.id
        ),
    )


def channel_named(row: BenchRow) -> str:
    """A pilot's channel in the list: "R3 5732"; empty before there is one."""
    if row.mhz is None:
        return ""
    label = label_at(row.mhz, lineup.setup_of(row.flying).labels)
    return f"{label} {row.mhz}" if label else f"{row.mhz} MHz"


def _items(session: Session, flying: Aircraft, power_mw: float | None) -> Iterator[Item]:
    ticked = bench_checks.ticks_of(session, flying)
    for number, item in enumerate(BENCH_ITEMS, 1):
        words, how = (_(one) for one in WORDS[item])
        if item == "power" and power_mw is not None:
            words = _("Power is set to %(power)s mW", power=short_decimal(power_mw))
        tick = ticked.get(item)
        who, at = (tick.who, tick.at) if tick else ("", None)
        yield Item(str(number), item, words, how, who, at)


def _picture(check: PictureCheck | None, flying: Aircraft, mhz: int) -> Picture:
    seen, claimed = picture_checks.seen_of(check, flying, mhz), named(mhz)
    if check is None:
        return Picture(seen, claimed)
    readings = picture_checks.readings_of(check, flying)
    found = json.loads(check.found_json)
    is_open = check.verdict == CHANNEL_IN_DOUBT
    return Picture(
        seen,
        claimed,
        check.verdict,
        check.who,
        check.at,
        readings,
        found=named_all(found),
        chance=chance_words(check.chance) if check.chance else "",
        said=_said(readings) if is_open else "",
        ask_mhz=readings.next_mhz if is_open else None,
    )


def chance_words(chance: float) -> str:
    """How sure, with its unit: "97.3 %"."""
    share = f"{decimal(100 * min(chance, 0.999), 1)}{_PERCENT}"
    return _("more than %(share)s", share=share) if chance > 0.999 else share


def _said(readings: Readings) -> str:
    """What the readings of a check in doubt say so far."""
    if not readings.reads:
        return _("Type what the receiver reads where this page asks for it: two to four readings settle it.")
    if readings.unit == BARS:
        return _said_by_bars(readings)
    if not readings.finding.does_fit:
        return _(
            "No channel explains these readings: another transmitter may be on, or a number was misread. "
            "Take the last reading back, or start again."
        )
    if readings.is_through:
        return _("Still in doubt after four readings: set the transmitter anew, and start again.")
    return _("Not sure yet.")


def _said_by_bars(readings: Readings) -> str:
    claimed, answer = named(readings.claimed_mhz), readings.is_consistent
    if answer is None:
        return _("These bars do not test the channel yet.")
    others = ", ".join(named(one) for one in readings.consistent_mhz if one != readings.claimed_mhz)
    if answer and others:
        return _("Consistent with %(claimed)s. So they are with %(others)s.", claimed=claimed, others=others)
    if answer:
        return _("Consistent with %(claimed)s.", claimed=claimed)
    if others:
        return _(
            "Not consistent with %(claimed)s, but with %(others)s: set the transmitter anew, or call it wrong.",
            claimed=claimed,
            others=others,
        )
    return _("Not consistent with %(claimed)s: set the transmitter anew, or call it wrong.", claimed=claimed)


def _at_risk(session: Session, day: FieldDay, pilot: Pilot, check: PictureCheck | None) -> tuple[str, ...]:
    """Who is to be on a channel near the one that this transmitter is on."""
    if check is None or check.verdict != CHANNEL_WRONG:
        return ()
    found: Sequence[int] = json.loads(check.found_json)
    spacing_mhz = settings_of(day).minimum_spacing_mhz
    names = {one.id: one.callsign for one in pilots.of_day(session, day.id or 0)}
    slots = lineup.published_slots(session, day)
    near = [
        _(
            "%(pilot)s in heat %(heat)s",
            pilot=f"{names[pilot_id]} {named(mhz)}",
            heat=slots[pilot_id]["heat"],
        )
        if pilot_id in slots
        else f"{names[pilot_id]} {named(mhz)}"
        for pilot_id, mhz in channel_confirmation.channels_now(session, day).items()
        if pilot_id != pilot.id and any(abs(mhz - one) < spacing_mhz for one in found)
    ]
    return tuple(near[:MOST_AT_RISK])
