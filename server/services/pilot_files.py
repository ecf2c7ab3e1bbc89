"""Everything that is stored about one pilot, as a file for that pilot."""

import json
from typing import Any

from sqlmodel import Session

from server.services import day_files, pilots
from server.services.days import day_with

FORMAT = "bandstand pilot"
_OF_A_PILOT = (
    *("aircraft", "call_slots", "clearances", "turns", "bench_ticks", "picture_checks"),
    *("trouble_reports", "down_transmitters", "outside_signals"),
)


def export_pilot(session: Session, code: str, pilot_id: int) -> bytes:
    """Every row about the pilot, the slots of published plans, and what the logbook says. Raises NotFoundError."""
    day = day_with(session, code)
    pilot = pilots.pilot_of(session, day, pilot_id)
    content = json.loads(day_files.export(session, code))["content"]
    facts: dict[str, Any] = {
        "format": FORMAT,
        "day": {name: content["day"][name] for name in ("code", "name", "date", "time_zone")},
        "pilot": next(one for one in content["pilots"] if one["id"] == pilot_id),
    }
    for part in _OF_A_PILOT:
        facts[part] = [row for row in content[part] if row["pilot_id"] == pilot_id]
    facts["published_slots"] = [
        {"plan": plan["number"], "heat": heat["heat"], **slot}
        for plan in content["published_plans"]
        for heat in json.loads(plan["snapshot_json"])["heats"]
        for slot in heat["slots"]
        if slot["pilot_id"] == pilot_id
    ]
    facts["logbook"] = [
        entry
        for entry in content["logbook"]
        if json.loads(entry["data_json"]).get("pilot_id") == pilot_id or pilot.callsign in entry["text"]
    ]
    return json.dumps(facts, ensure_ascii=False, indent=1).encode()
