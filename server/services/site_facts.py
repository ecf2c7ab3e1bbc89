"""What follows from a site: the best that any plan can reach, how far a power carries, the levels behind it."""

from dataclasses import dataclass

from sqlmodel import Session

from server.radio import exposure, grade
from server.radio.interference import (
    Station,
    heat_margins,
    site_ceiling_db,
    wanted_level_dbm,
)
from server.radio.receiver import compression_level_dbm, noise_level_dbm
from server.radio.site import Site
from server.services.faults import FieldsError
from server.services.gear import ASSUMED_POWER_MW, FIELDS, read_setup
from server.services.site_sketch import SiteSketch, arriving_dbm, site_sketch
from server.services.usable import eirp_mw
from server.storage import pilots
from server.storage.tables import Aircraft, FieldDay

AIRCRAFT_SHOWN = (3, 4, 5, 6, 7, 8)
POWERS_SHOWN_MW = (25.0, 200.0, 600.0)

_ANY_MHZ = 5800


@dataclass(frozen=True)
class Ceiling:
    """The best worst margin that any plan can give with so many in the air."""

    aircraft: int
    ceiling_db: float | None
    picture_grade: float
    grade_word: str
    is_chosen: bool


@dataclass(frozen=True)
class Reach:
    """How far a power carries: with the allowance for fades kept, and to the threshold."""

    power_mw: float
    kept_m: float
    threshold_m: float
    link_margin_db: float
    is_enough: bool


@dataclass(frozen=True)
class Levels:
    """The worst moment with everybody on the same power, at one receiver, in dBm.

    pits_dbm  of a transmitter that is on in the pits
    """

    power_mw: float
    wanted_dbm: float
    unwanted_dbm: float
    pits_dbm: float
    noise_dbm: float
    compression_dbm: float

    @property
    def is_overloaded(self) -> bool:
        return self.unwanted_dbm > self.compression_dbm


@dataclass(frozen=True)
class SiteFacts:
    ceilings: tuple[Ceiling, ...]
    reaches: tuple[Reach, ...]
    levels: tuple[Levels, ...]
    sketch: SiteSketch

    @property
    def chosen(self) -> Ceiling:
        return next(one for one in self.ceilings if one.is_chosen)


@dataclass(frozen=True)
class Exposure:
    """The strongest transmitter of the day, and how near to it the limit for the public is reached.

    callsign  None where nobody has checked in yet and the usual power is assumed
    """

    callsign: str | None
    power_mw: float
    eirp_mw: float
    limit_m: float
    advised_m: float


def site_facts(site: Site, aircraft: int) -> SiteFacts:
    """What follows for a number of aircraft in the air, whatever the channels."""
    counts = sorted({*AIRCRAFT_SHOWN, aircraft})
    return SiteFacts(
        tuple(_ceiling(count, site, count == aircraft) for count in counts),
        tuple(_reach(power_mw, site) for power_mw in POWERS_SHOWN_MW),
        tuple(_levels(power_mw, site) for power_mw in POWERS_SHOWN_MW),
        site_sketch(site, POWERS_SHOWN_MW[0]),
    )


def strongest(session: Session, day: FieldDay) -> Exposure:
    """The highest e.i.r.p. that any transmitter on the roster can be set to; unreadable gear is left out."""
    day_id = day.id or 0
    aircraft = pilots.aircraft_of_day(session, day_id)
    found: list[tuple[float, float, str | None]] = []
    for pilot in pilots.of_day(session, day_id):
        for one in aircraft.get(pilot.id or 0, ()):
            try:
                setup = read_setup(_as_typed(one), pilot.callsign)
            except FieldsError:
                continue
            power_mw = setup.power_steps_mw[-1]
            found.append((eirp_mw(power_mw, setup.gain_dbi), power_mw, pilot.callsign))
    usual: tuple[float, float, str | None] = (ASSUMED_POWER_MW, ASSUMED_POWER_MW, None)
    strongest_mw, power_mw, callsign = max(found, key=lambda one: one[0], default=usual)
    return Exposure(
        callsign, power_mw, strongest_mw, exposure.limit_distance_m(strongest_mw), exposure.ADVISED_DISTANCE_M
    )


def _as_typed(aircraft: Aircraft) -> dict[str, str]:
    stored = {name: getattr(aircraft, name) for name in FIELDS}
    return {name: "" if value is None else str(value) for name, value in stored.items()}


def _ceiling(count: int, site: Site, is_chosen: bool) -> Ceiling:
    ceiling_db = site_ceiling_db(count, site)
    picture_grade = grade.picture_grade(ceiling_db)
    return Ceiling(count, ceiling_db, picture_grade, grade.grade_word(picture_grade), is_chosen)


def _reach(power_mw: float, site: Site) -> Reach:
    alone = heat_margins([Station("", _ANY_MHZ, power_mw)], site).slots[0]
    return Reach(
        power_mw, alone.range_kept_m, alone.range_threshold_m, alone.link_margin_db, alone.is_link_enough
    )


def _levels(power_mw: float, site: Site) -> Levels:
    station, receiver = Station("", _ANY_MHZ, power_mw), site.receiver
    return Levels(
        power_mw,
        wanted_level_dbm(station, site),
        arriving_dbm(station, site, site.near_m),
        arriving_dbm(station, site, site.pit_m),
        noise_level_dbm(receiver.if_bandwidth_mhz, receiver.noise_figure_db),
        compression_level_dbm(receiver.iip3_dbm),
    )
