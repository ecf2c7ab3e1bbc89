"""The heat sheet: a published plan as it is read on paper, by heat, by pilot or by channel.

The page, the PDF files and the exports all show this, and it holds nothing but the snapshot, the addresses of
the day and whether a later plan has been published. Callsigns only: a snapshot has no names.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.radio.interference import SPAN_SHOWN_GRADE
from server.radio.rules import WHO_DECIDES
from server.services.days import day_with
from server.services.errors import NotFoundError
from server.services.pilot_flights import PilotFlights, flights_of_pilots
from server.services.spectrum_chart import charts
from server.services.spectrum_shapes import Chart
from server.storage import published_plans
from server.storage.tables import FieldDay, PublishedPlan
from server.wording import date_without_weekday, short_decimal, time_of_day
from server.wording import gettext as _

By = Literal["heat", "pilot", "channel"]

Slot = Mapping[str, Any]
Heat = Mapping[str, Any]


@dataclass(frozen=True)
class ChannelUse:
    """Who sits on one carrier through the day.

    labels      as the pilots were told them: two labels can mean one frequency
    slots       in the order of flying, each with its `heat` and `round`
    free_heats  numbers of the heats in which nobody is on it
    """

    mhz: int
    labels: tuple[str, ...]
    slots: tuple[Slot, ...]
    free_heats: tuple[int, ...]

    @property
    def heats_of_pilots(self) -> dict[str, list[int]]:
        """The heats of each callsign on this channel, in the order of flying."""
        found: dict[str, list[int]] = {}
        for slot in self.slots:
            found.setdefault(slot["callsign"], []).append(slot["heat"])
        return found


@dataclass(frozen=True)
class HeatSheet:
    """One published plan.

    plan           the snapshot
    replaced_by    the latest number, where that is another one
    other_numbers  the day's other published plans, newest first
    base_url       the address that phones reach this machine by, None where none is chosen
    """

    plan: Mapping[str, Any]
    replaced_by: int | None
    other_numbers: tuple[int, ...]
    base_url: str | None

    @property
    def number(self) -> int:
        return int(self.plan["number"])

    @property
    def published_at(self) -> datetime:
        return datetime.fromisoformat(self.plan["published_at"])

    @property
    def published_words(self) -> str:
        """The moment of publishing where the field is: "16 May 2026, 10:30 (Europe/Dublin)"."""
        time_zone = self.plan["day"]["time_zone"]
        local = self.published_at.astimezone(ZoneInfo(time_zone))
        return f"{date_without_weekday(local)}, {time_of_day(local)} ({time_zone})"

    @property
    def date(self) -> date:
        return date.fromisoformat(self.plan["day"]["date"])

    @property
    def board_url(self) -> str | None:
        return self.base_url and f"{self.base_url.rstrip('/')}/board/{self.plan['day']['code']}"

    @property
    def heats(self) -> tuple[Heat, ...]:
        """Heats with somebody in them. Each slot says besides its facts:

        retuned_from  the pilot's slot before, where that was on another channel
        grade_span    lowest and highest grade over receivers, where they differ enough to be shown
        """
        return tuple(_told(heat for heat in self.plan["heats"] if heat["slots"]))

    @property
    def spectra(self) -> tuple[tuple[Heat, tuple[Chart, ...]], ...]:
        """Each heat that has one with its drawing, for wide places and for phones."""
        drawn = ((heat, charts(self.plan, heat)) for heat in self.heats)
        return tuple((heat, found) for heat, found in drawn if found)

    @property
    def channels(self) -> tuple[ChannelUse, ...]:
        """The carriers in use, by frequency."""
        slots_of: dict[int, list[Slot]] = {}
        for heat in self.heats:
            for slot in heat["slots"]:
                placed = {**slot, "heat": heat["heat"], "round": heat["round"]}
                slots_of.setdefault(slot["mhz"], []).append(placed)
        numbers = [heat["heat"] for heat in self.heats]
        return tuple(_channel_use(mhz, slots_of[mhz], numbers) for mhz in sorted(slots_of))

    @property
    def pilots(self) -> tuple[PilotFlights, ...]:
        """Everybody who flies, by callsign."""
        return flights_of_pilots(self.heats)

    @property
    def rules_words(self) -> str:
        """What the plan was judged by. Never that anything is legal, and nobody's own words or name."""
        rules = self.plan["rules"]
        name, taken = rules["name"], rules["responsibility"]
        words = []
        if name:
            head = _("Rules chosen for this day") if taken else _("Within the rules chosen for this day")
            source = ", ".join(str(part) for part in (rules["source"], rules["year"]) if part)
            words.append(f"{head}: {_(name)}{f' ({source})' if source else ''}.")
        else:
            words.append(_("No rules are chosen for this day."))
        if taken:
            words.append(_("The director took responsibility in words; the logbook keeps them."))
        return " ".join((*words, _(WHO_DECIDES)))

    @property
    def distances_words(self) -> str:
        """Between which distances the pictures were worked out; empty where the snapshot does not say."""
        metres = {one["name"]: one["value"] for one in self.plan["assumptions"]}
        if "near_m" not in metres or "far_m" not in metres:
            return ""
        return _(
            "Pictures are worked out for the worst moment, with aircraft between %(near_m)s and "
            "%(course_m)s m from the pilots. A measurement on the site beats a calculation.",
            near_m=short_decimal(metres["near_m"]),
            course_m=short_decimal(metres["far_m"]),
        )


def heat_sheet(session: Session, code: str, number: int | None = None) -> tuple[FieldDay, HeatSheet | None]:
    """The day with this code and the sheet of one of its plans, of the latest where no number is given.

    No sheet where nothing is published yet. Raises NotFoundError.
    """
    day = day_with(session, code)
    assert day.id is not None
    plans = published_plans.newest_first(session, day.id)
    if number is None:
        return day, _sheet(day, plans[0], plans) if plans else None
    chosen = next((plan for plan in plans if plan.number == number), None)
    if chosen is None:
        if not plans:
            raise NotFoundError(
                _("No plan %(number)s of %(day)s was published; none is yet.", number=number, day=day.name)
            )
        raise NotFoundError(
            _(
                "No plan %(number)s of %(day)s was published; the latest is plan %(latest)s.",
                number=number,
                day=day.name,
                latest=plans[0].number,
            )
        )
    return day, _sheet(day, chosen, plans)


def published_sheet(session: Session, code: str, number: int | None = None) -> HeatSheet:
    """The same, for what cannot be made without a plan. Raises NotFoundError."""
    day, sheet = heat_sheet(session, code, number)
    if sheet is None:
        raise NotFoundError(
            _("No plan of %(day)s is published yet: publish one in Channel plan.", day=day.name)
        )
    return sheet


def every_sheet(session: Session, day: FieldDay) -> list[HeatSheet]:
    """The sheets of all published plans, the newest first."""
    assert day.id is not None
    plans = published_plans.newest_first(session, day.id)
    return [_sheet(day, plan, plans) for plan in plans]


def _sheet(day: FieldDay, plan: PublishedPlan, plans: Iterable[PublishedPlan]) -> HeatSheet:
    numbers = [one.number for one in plans]
    return HeatSheet(
        plan=published_plans.facts(plan),
        replaced_by=numbers[0] if numbers[0] != plan.number else None,
        other_numbers=tuple(number for number in numbers if number != plan.number),
        base_url=day.base_url,
    )


def _told(heats: Iterable[Heat]) -> Iterable[Heat]:
    last: dict[int, Slot] = {}
    for heat in heats:
        slots = []
        for slot in heat["slots"]:
            before = last.get(slot["pilot_id"], slot)
            retuned_from = before if before["mhz"] != slot["mhz"] else None
            slots.append({**slot, "retuned_from": retuned_from, "grade_span": _grade_span(slot)})
            last[slot["pilot_id"]] = slot
        yield {**heat, "slots": slots}


def _grade_span(slot: Slot) -> tuple[float, float] | None:
    low, high = slot["grade_low"], slot["grade_high"]
    return (low, high) if round(high - low, 1) > SPAN_SHOWN_GRADE else None


def _channel_use(mhz: int, slots: list[Slot], heat_numbers: Iterable[int]) -> ChannelUse:
    labels = dict.fromkeys(slot["channel"] for slot in slots if slot["channel"])
    taken = {slot["heat"] for slot in slots}
    free = tuple(number for number in heat_numbers if number not in taken)
    return ChannelUse(mhz, tuple(labels), tuple(slots), free)
