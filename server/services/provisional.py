"""The provisional channel: what a pilot sets while standing at the desk, and what is said with it."""

from dataclasses import dataclass

from sqlmodel import Session

from server.allocator.problem import DayProblem
from server.allocator.problem import Pilot as PlannedPilot
from server.allocator.provisional import TARGET_POWER_MW, provisional_channel
from server.radio.channels import BANDS, TWIN_MHZ, Channel, lookalikes
from server.services import channel_confirmation, days, lineup, outside_signals
from server.services.gear import label_at
from server.services.video import ANALOGUE
from server.storage import pilots
from server.storage.tables import Aircraft, FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked

OTHER_VIDEO = marked("Other than analogue video gets no channel here: agree on its place with the director.")

BUTTONS_SIGN = ":"
"""Between band and channel on push-button gear."""


@dataclass(frozen=True)
class ChannelToSet:
    """What the desk says to a pilot.

    mhz         None where no channel can be given; then `why_not` says why and what to do
    buttons     the same on push-button gear, "5:2", where the pilot counts that way
    is_planned  from the published plan, not provisional
    is_allowed  by the gear and the day as they are now
    lookalikes  channels of this gear that look right on the bench and are wrong
    """

    callsign: str
    mhz: int | None
    label: str | None = None
    buttons: str = ""
    power_mw: float | None = None
    is_planned: bool = False
    is_allowed: bool = True
    lookalikes: tuple[Channel, ...] = ()
    why_not: str = ""


def give(session: Session, day: FieldDay, pilot: Pilot) -> None:
    """Choose a provisional channel anew, beside those who are checked in."""
    newcomer = _planned(session, day, pilot)
    pilot.provisional_mhz = None
    if newcomer is not None:
        present = [one for one in lineup.problem_pilots(session, day) if one.callsign != pilot.callsign]
        offer = provisional_channel(newcomer, present, _problem(session, day))
        pilot.provisional_mhz = offer.mhz if offer else None
    session.flush()
    channel_confirmation.void_where_moved(session, day)


def keep_or_give(session: Session, day: FieldDay, pilot: Pilot) -> None:
    """Keep the channel while gear and day still allow it: a changed channel is a source of error."""
    newcomer = _planned(session, day, pilot)
    if newcomer is None or pilot.provisional_mhz not in newcomer.choices_mhz:
        give(session, day, pilot)


def to_set(session: Session, day: FieldDay, pilot: Pilot) -> ChannelToSet:
    """The channel that this pilot sets now: the published one, else the provisional one."""
    assert pilot.id is not None
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    return channel_to_set(day, pilot, flying, lineup.published_channels(session, day).get(pilot.id))


def channel_to_set(
    day: FieldDay, pilot: Pilot, flying: Aircraft | None, published_mhz: int | None
) -> ChannelToSet:
    """The same from rows that are at hand."""
    if flying is None or flying.video != ANALOGUE:
        return ChannelToSet(pilot.callsign, None, why_not=_(OTHER_VIDEO))
    planned = lineup.planned_pilot(day, pilot, flying, {}, {})
    mhz = published_mhz or pilot.provisional_mhz
    if mhz is None:
        return ChannelToSet(pilot.callsign, None, why_not=why_no_channel(planned))
    setup = lineup.setup_of(flying)
    label = label_at(mhz, setup.labels)
    wrong = tuple(channel for channel in lookalikes(mhz) if abs(channel.mhz - mhz) > TWIN_MHZ)
    if not any(field == "tunes" for field, _ in setup.assumed):
        wrong = tuple(channel for channel in wrong if channel.mhz in setup.tunes.mhz)
    return ChannelToSet(
        callsign=pilot.callsign,
        mhz=mhz,
        label=label,
        buttons=_buttons(label) if BUTTONS_SIGN in flying.tunes else "",
        power_mw=planned.power_at(_common_level_mw(day)),
        is_planned=published_mhz is not None,
        is_allowed=mhz in planned.channels_mhz,
        lookalikes=wrong,
    )


def _planned(session: Session, day: FieldDay, pilot: Pilot) -> PlannedPilot | None:
    assert pilot.id is not None
    flying = lineup.flying_of(pilot, pilots.aircraft_of(session, pilot.id))
    if flying is None or flying.video != ANALOGUE:
        return None
    return lineup.planned_pilot(day, pilot, flying, {}, {})


def _problem(session: Session, day: FieldDay) -> DayProblem:
    settings = days.settings_of(day)
    return DayProblem(
        (),
        outside_signals.site_on(session, day),
        bans_mhz=settings.bans,
        minimum_spacing_mhz=settings.minimum_spacing_mhz,
        aircraft=day.aircraft,
        common_power_mw=settings.common_power_mw,
    )


def _common_level_mw(day: FieldDay) -> float:
    common = days.settings_of(day).common_power_mw
    return TARGET_POWER_MW if common == "auto" else common


def _buttons(label: str | None) -> str:
    return f"{BANDS.index(label[0]) + 1}{BUTTONS_SIGN}{label[1:]}" if label else ""


def why_no_channel(planned: PlannedPilot) -> str:
    """Why a pilot has no channel, with the cure, as one sentence."""
    if not planned.channels_mhz:
        return _(
            "The day's rules, bands and bans leave %(callsign)s no channel: bring another aircraft, or "
            "change them in Site & rules.",
            callsign=planned.callsign,
        )
    if not planned.choices_mhz:
        return _(
            "%(callsign)s's pin is not among the channels of the day: change the pin.",
            callsign=planned.callsign,
        )
    return _("%(callsign)s has no channel yet: press Give a channel.", callsign=planned.callsign)
