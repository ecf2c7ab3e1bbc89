"""One moment of a day, read once for all the pages that are told of it."""

from functools import cached_property

from sqlmodel import Session

from server.services.call_views import FlightLineNow
from server.services.turn_views import OpenFlyingNow
from server.storage import pilots, published_plans
from server.storage.session import Database
from server.storage.tables import FieldDay


class DayNow:
    """The published plan, who is here, who flies openly and what is called."""

    def __init__(self, session: Session, day: FieldDay) -> None:
        assert day.id is not None
        self.day, self._session = day, session
        self.order = Database.order(session, day.id)
        self.roster = pilots.of_day(session, day.id)
        self.plan = published_plans.latest(session, day.id)
        self.snapshot = published_plans.facts(self.plan) if self.plan else None

    @cached_property
    def flying(self) -> OpenFlyingNow:
        return OpenFlyingNow(self._session, self.day)

    @cached_property
    def line(self) -> FlightLineNow:
        return FlightLineNow(self._session, self.day, self.snapshot)
