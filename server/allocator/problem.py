"""What the planner is asked: pilots with their gear, a site, and the rules of the day."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal

from server.allocator.errors import ProblemError
from server.radio.site import Site
from server.wording import gettext as _
from server.wording import short_decimal

MOST_PILOTS_IN_A_HEAT = 12
"""The trade flies at most eight; beyond twelve the table of third-order products outgrows its use."""


@dataclass(frozen=True)
class Pilot:
    """One pilot with the video set-up of the aircraft that flies today.

    channels_mhz     what transmitter and receiver can both tune, within the day's rules, whole MHz
    power_steps_mw   the steps of the transmitter, mW
    power_mw         set by the director; None leaves it to the common level
    current_mhz      what the transmitter is set to: published or provisional; moving it has a price
    pin_mhz          the only frequencies allowed to this pilot; empty: all
    apart, together  callsigns never, or always, in the same heat; a spotter who flies is apart
    after, before    heat numbers: flies only in later, or earlier, heats
    heat             the number of a heat that this pilot must fly in
    labels           the pilot's own name for a frequency
    """

    callsign: str
    channels_mhz: tuple[int, ...]
    power_steps_mw: tuple[float, ...] = (25.0,)
    antenna: str = "rhcp"
    rx_antenna: str = "rhcp"
    gain_dbi: float = 0.0
    power_mw: float | None = None
    current_mhz: int | None = None
    pin_mhz: tuple[int, ...] = ()
    apart: frozenset[str] = frozenset()
    together: frozenset[str] = frozenset()
    spotter: str | None = None
    after: int | None = None
    before: int | None = None
    heat: int | None = None
    labels: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}), hash=False)

    @property
    def choices_mhz(self) -> tuple[int, ...]:
        """The frequencies that remain after the pin, ascending."""
        usable = set(self.channels_mhz)
        return tuple(sorted(usable & set(self.pin_mhz) if self.pin_mhz else usable))

    def power_at(self, common_mw: float) -> float:
        """Power in mW under a common level: the highest own step not above it, else the lowest step."""
        if self.power_mw is not None:
            return self.power_mw
        not_above = [step for step in self.power_steps_mw if step <= common_mw]
        return max(not_above) if not_above else min(self.power_steps_mw)


@dataclass(frozen=True)
class DayProblem:
    """A whole day, or one heat of it.

    bans_mhz              out of use today
    minimum_spacing_mhz   no two pilots of a heat closer than this
    aircraft, rounds      how many at once, and how often through the roster
    rest_heats            heats between two flights of one pilot
    day_channels          "auto": as few channels as the gear allows; a tuple fixes them; "free": no care
    common_power_mw       "auto" or a level in mW
    heats_given           who flies with whom, by callsign, where results decide it; else None
    one_heat              the whole roster is one heat
    node_limit            search nodes of each exact search
    time_limit_s          may only stop the search, which the status then says
    """

    pilots: tuple[Pilot, ...]
    site: Site = field(default_factory=Site)
    bans_mhz: tuple[int, ...] = ()
    minimum_spacing_mhz: int = 20
    aircraft: int = 6
    rounds: int = 1
    rest_heats: int = 1
    day_channels: Literal["auto", "free"] | tuple[int, ...] = "auto"
    common_power_mw: Literal["auto"] | float = "auto"
    heats_given: tuple[tuple[str, ...], ...] | None = None
    one_heat: bool = False
    retune_worth_db: float = 3.0
    mix_worth_db: float = 0.5
    node_limit: int = 20_000_000
    time_limit_s: float | None = 10.0
    seed: int = 1

    def __post_init__(self) -> None:
        known = [pilot.callsign for pilot in self.pilots]
        twice = sorted({name for name in known if known.count(name) > 1})
        if twice:
            raise ProblemError(
                _("%(callsign)s stands in the roster twice", callsign=twice[0]),
                _("give every pilot a callsign of their own"),
            )
        if not 1 <= self.aircraft <= MOST_PILOTS_IN_A_HEAT:
            raise ProblemError(
                _("%(number)s aircraft at once", number=self.aircraft),
                _("give a number from 1 to %(most)s", most=MOST_PILOTS_IN_A_HEAT),
            )
        if self.rounds < 1:
            raise ProblemError(_("%(number)s rounds", number=self.rounds), _("give at least one round"))
        if not self.retune_worth_db > 0.0:
            # A move that need bring nothing could be made for ever.
            raise ProblemError(
                _(
                    "a retune worth %(decibels)s dB",
                    decibels=short_decimal(self.retune_worth_db),
                ),
                _("give more than 0 dB"),
            )
        largest = max((len(heat) for heat in self.heats_given or ()), default=0)
        if self.one_heat:
            largest = len(self.pilots)
        if largest > MOST_PILOTS_IN_A_HEAT:
            raise ProblemError(
                _("a heat of %(number)s pilots", number=largest),
                _("split it: at most %(most)s can share the air", most=MOST_PILOTS_IN_A_HEAT),
            )
        strangers = sorted({name for heat in self.heats_given or () for name in heat} - set(known))
        if strangers:
            raise ProblemError(
                _("%(callsign)s is in a given heat but not in the roster", callsign=strangers[0]),
                _("check the callsign in"),
            )

    def with_pilots(self, pilots: tuple[Pilot, ...]) -> "DayProblem":
        """The same day with other pilots."""
        return replace(self, pilots=pilots)

    def choices_mhz(self, pilot: Pilot) -> tuple[int, ...]:
        """What a pilot may be given today: tunable, pinned, not banned, ascending."""
        return tuple(mhz for mhz in pilot.choices_mhz if mhz not in self.bans_mhz)
