"""The demonstration: an invented club day, checked in, planned by the real planner and published.

All of it goes through the same services as a day of real people, so what it shows is what they would get.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from server.allocator.solve import plan_day
from server.services import days, pilots, planning, plans, site
from server.services.day_fields import zone_of_this_machine
from server.services.draft_changes import keep_planned
from server.services.drafts import from_plan
from server.services.site_fields import fields_of
from server.services.stale_forms import Form
from server.services.standings import day_id, open_draft, standing
from server.storage import clubs
from server.storage import days as stored_days
from server.storage import pilots as stored_pilots
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.wording import marked

CODE = "tern"
NAME = "Tern Meadow club day"
DESK = marked("desk")
BETWEEN_PILOTS = timedelta(seconds=20)

_SITE = {"aircraft": "6", "rounds": "3", "rules": "tern-meadow"}

_COMMON = {"tunes": "A B E F R", "power_mw": "25 200 600", "antenna": "rhcp"}
_ROSTER: tuple[dict[str, str], ...] = (
    {"callsign": "Wren"},
    {"callsign": "Biscuit", "power_mw": "25 100 200"},
    {"callsign": "Juniper", "note": "likes F8"},
    {"callsign": "Sorrel", "tunes": "R"},
    {"callsign": "Magpie", "power_mw": "25 400"},
    {"callsign": "Otter"},
    {"callsign": "Pascal", "tunes": "A B E F", "power_mw": "25 200"},
    {"callsign": "Quill", "tunes": "5:7", "power_mw": "25", "note": "fixed; 5:7 on push buttons"},
    {"callsign": "Rook", "tunes": "R", "power_mw": "25 200"},
    {"callsign": "Saffron", "antenna": "lhcp"},
    {"callsign": "Teasel", "power_mw": "25"},
    {"callsign": "Umber", "tunes": "F4", "power_mw": "25"},
    {"callsign": "Vesper", "spotter": "Willow"},
    {"callsign": "Willow", "spotter": "Vesper"},
    {"callsign": "Yarrow", "tunes": "R", "power_mw": "25 600"},
    {"callsign": "Zephyr", "power_mw": "25 100 200 600"},
    {"callsign": "Bramble", "tunes": "A B E F"},
    {"callsign": "Coot", "power_mw": "25 200"},
)


@dataclass(frozen=True)
class DemoDay:
    """Where to look: the day's code and two pilots' private links, by callsign."""

    code: str
    link_tokens: dict[str, str]


def make_demo(database: Database, now: datetime) -> DemoDay:
    """The demonstration day, made if the data file has none; what was changed in it since is kept."""
    with database.read() as session:
        is_new = stored_days.by_code(session, CODE) is None
    if is_new:
        with database.write() as session:
            day = _check_everybody_in(session, now)
            _plan_and_publish(session, day, now)
    with database.read() as session:
        day = days.day_with(session, CODE)
        links = {one.callsign: one.link_token for one in stored_pilots.of_day(session, day_id(day))}
    return DemoDay(CODE, {name: links[name] for name in ("Wren", "Umber") if name in links})


def _check_everybody_in(session: Session, now: datetime) -> FieldDay:
    opened = now - BETWEEN_PILOTS * (len(_ROSTER) + 1)
    zone = zone_of_this_machine()
    typed = {"name": NAME, "date": now.date().isoformat(), "time_zone": zone, "code": CODE}
    club = clubs.oldest_first(session)[0]
    day = days.create_day(session, club.id or 0, typed, opened)
    before = fields_of(day)
    site.save(session, day, Form(before | _SITE, before, day.version), opened)
    for before_now, pilot in zip(range(len(_ROSTER), 0, -1), _ROSTER, strict=True):
        pilots.add(session, day, _COMMON | pilot, DESK, now - BETWEEN_PILOTS * before_now)
    return day


def _plan_and_publish(session: Session, day: FieldDay, now: datetime) -> None:
    question = planning.ask(session, day)
    plan = plan_day(question.problem)
    _, stored, basis = open_draft(session, day)
    content = from_plan(plan, basis.ids(), stored, False)
    keep_planned(session, day, question.version, content, planning.planned_words(plan), now)
    draft = standing(session, day).draft
    plans.publish(session, day, draft.version, draft.seen, False, now)
