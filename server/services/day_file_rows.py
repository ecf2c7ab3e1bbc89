"""What a file of a day holds, row by row: the format of export and import, apart from the tables.

Names are those of the tables' columns, so that a row is read from one and written to the other as it is; a test
holds that no column is forgotten. Columns of JSON stay text, to the letter. Numbers of rows (`id`, `pilot_id`, …)
tie the rows of one file together and mean nothing outside it.
"""

import json
import zoneinfo
from collections.abc import Sequence
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field

from server.storage.tables import (
    BENCH_ITEMS,
    CALL_SLOT_STAGES,
    CALL_STAGES,
    CLEARANCE_PLACES,
    CLEARANCE_REASONS,
    CLEARANCE_STAGES,
    NOT_KNOWN,
    PILOT_STATES,
    TURN_STAGES,
    VERDICTS,
    VIDEO_KINDS,
)

LARGEST_NUMBER = 2**31 - 1
"""Databases refuse larger ones."""


def one_of(words: Sequence[str]) -> Any:
    """A text that must be one of these."""
    return Field(pattern=f"^({'|'.join(words)})$")


def _json(text: str) -> str:
    try:
        json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise ValueError("this is not JSON") from None
    return text


def _no_number(_text: str) -> None:
    raise ValueError


def _zone(name: str) -> str:
    if name not in zoneinfo.available_timezones():
        raise ValueError("this is not a time zone")
    return name


Text = Annotated[str, Field(pattern=r"^[^\x00]*$")]
"""PostgreSQL stores no NUL."""
JsonText = Annotated[Text, AfterValidator(_json)]
RowId = Annotated[int, Field(ge=1, le=LARGEST_NUMBER)]
Number = Annotated[int, Field(ge=-LARGEST_NUMBER, le=LARGEST_NUMBER)]
Figure = Annotated[float, Field(allow_inf_nan=False)]


class Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", from_attributes=True, strict=True)


class DayRow(Row):
    code: Annotated[str, Field(pattern=r"^[a-z]{4}$")]
    name: Text
    date: Annotated[date, Field(ge=date(2000, 1, 1), le=date(2100, 12, 31))]
    time_zone: Annotated[Text, AfterValidator(_zone)]
    aircraft: Number
    rounds: Number
    heat_minutes: Number
    flown_heats: Number
    settings_json: JsonText
    rule_set_json: JsonText | None
    responsibility: Text | None
    base_url: Text | None
    version: Number
    created_at: AwareDatetime
    archived_at: AwareDatetime | None


class PilotRow(Row):
    id: RowId
    callsign: Text
    callsign_key: Text
    name: Text
    station_id: Text
    note: Text
    adult_present: bool
    spotter: Text
    apart: Text
    together: Text
    after_heat: Number | None
    before_heat: Number | None
    heat: Number | None
    pin: Text
    state: Annotated[Text, one_of(PILOT_STATES)]
    link_token: Annotated[str, Field(min_length=16, pattern=r"^[\w-]+$")]
    join_id: Text | None
    provisional_mhz: Number | None
    flying_aircraft_id: RowId | None
    version: Number
    created_at: AwareDatetime
    updated_at: AwareDatetime


class AircraftRow(Row):
    id: RowId
    pilot_id: RowId
    name: Text
    position: Number
    tunes: Text
    receives: Text
    power_mw: Text
    pit_power_mw: Figure | None
    antenna: Text
    rx_antenna: Text
    antenna_gain_dbi: Figure
    video: Annotated[Text, one_of(VIDEO_KINDS)]
    centre_mhz: Figure | None
    width_mhz: Figure | None
    version: Number


class DraftRow(Row):
    content_json: JsonText
    result_json: JsonText
    undo_json: JsonText
    based_on_number: Number | None
    version: Number
    updated_at: AwareDatetime


class PublishedPlanRow(Row):
    number: Annotated[int, Field(ge=1, le=LARGEST_NUMBER)]
    snapshot_json: JsonText
    model_version: Text
    published_at: AwareDatetime
    published_by: Text
    replaces_number: Number | None


class LogbookRow(Row):
    at: AwareDatetime
    who: Text
    action: Text
    text: Text
    data_json: JsonText


class FlightLineRow(Row):
    everybody_land_at: AwareDatetime | None
    everybody_land_reason: Text
    everybody_land_who: Text
    walkers_since: AwareDatetime | None
    starts_at: Text
    ends_by: Text
    may_clear_beside: bool
    counted_from_call: Number
    last_step_json: JsonText | Literal[""]
    version: Number


class CallRow(Row):
    id: RowId
    plan_number: Number
    heats: tuple[Number, ...]
    stage: Annotated[Text, one_of(CALL_STAGES)]
    reason: Text
    called_at: AwareDatetime
    released_at: AwareDatetime | None
    ended_at: AwareDatetime | None
    counts: bool
    flown_before: Number | None
    version: Number


class CallSlotRow(Row):
    id: RowId
    call_id: RowId
    pilot_id: RowId
    callsign: Text
    heat: Number
    position: Number
    mhz: Number
    channel: Text | None
    power_mw: Figure
    margin_db: Figure | None
    stage: Annotated[Text, one_of(CALL_SLOT_STAGES)]
    picture_at: AwareDatetime | None
    released_at: AwareDatetime | None
    changed_at: AwareDatetime
    version: Number


class ClearanceRow(Row):
    id: RowId
    pilot_id: RowId
    aircraft_id: RowId | None
    why: Annotated[Text, one_of((*CLEARANCE_REASONS, NOT_KNOWN))]
    place: Annotated[Text, one_of(CLEARANCE_PLACES)]
    mhz: Number | None
    power_mw: Figure
    stage: Annotated[Text, one_of(CLEARANCE_STAGES)]
    words: Text
    asked_at: AwareDatetime
    answered_at: AwareDatetime | None
    on_at: AwareDatetime | None
    off_at: AwareDatetime | None
    version: Number


class OpenFlyingRow(Row):
    is_open: bool
    may_power_up_beside: bool
    changed_at: AwareDatetime
    version: Number


class TurnRow(Row):
    id: RowId
    pilot_id: RowId
    stage: Annotated[Text, one_of(TURN_STAGES)]
    passed_over: Number
    why: Text
    place: Number | None
    mhz: Number | None
    power_mw: Figure | None
    gear: Text
    asked_at: AwareDatetime
    seated_at: AwareDatetime | None
    confirmed_at: AwareDatetime | None
    picture_at: AwareDatetime | None
    nudged_at: AwareDatetime | None
    ended_at: AwareDatetime | None
    ended_how: Text
    version: Number


class BenchTickRow(Row):
    pilot_id: RowId
    aircraft_id: RowId
    item: Annotated[Text, one_of(BENCH_ITEMS)]
    gear: Text
    who: Text
    at: AwareDatetime
    taken_back_at: AwareDatetime | None


class PictureCheckRow(Row):
    id: RowId
    pilot_id: RowId
    aircraft_id: RowId
    gear: Text
    mhz: Number
    verdict: Annotated[Text, one_of(VERDICTS)]
    readings_json: JsonText
    found_json: JsonText
    chance: Figure | None
    who: Text
    at: AwareDatetime
    is_void: bool
    version: Number


class TroubleReportRow(Row):
    id: RowId
    pilot_id: RowId
    call_id: RowId | None
    callsign: Text
    symptom: Text
    near: Text
    onset: Text
    who: Text
    at: AwareDatetime
    causes_json: JsonText
    case_json: JsonText | Literal[""]
    outcomes_json: JsonText
    answer: Text
    answered_at: AwareDatetime | None
    closed_at: AwareDatetime | None
    closed_as: Text
    version: Number


class DownTransmitterRow(Row):
    id: RowId
    pilot_id: RowId
    aircraft_id: RowId | None
    callsign: Text
    mhz: Number
    power_mw: Figure
    antenna: Text
    antenna_gain_dbi: Figure
    since: AwareDatetime
    found_at: AwareDatetime | None


class OutsideSignalRow(Row):
    id: RowId
    pilot_id: RowId | None
    centre_mhz: Figure
    width_mhz: Figure
    level_dbm: Figure | None
    power_mw: Figure | None
    antenna_gain_dbi: Figure
    note: Text
    since: AwareDatetime
    ended_at: AwareDatetime | None


class PaperChoiceRow(Row):
    size: Annotated[Text, one_of(("a4", "letter"))]
    sections: Text


class DayContent(Row):
    """All of one day."""

    day: DayRow
    pilots: tuple[PilotRow, ...]
    aircraft: tuple[AircraftRow, ...]
    draft: DraftRow | None
    published_plans: tuple[PublishedPlanRow, ...]
    logbook: tuple[LogbookRow, ...]
    flight_line: FlightLineRow | None
    calls: tuple[CallRow, ...]
    call_slots: tuple[CallSlotRow, ...]
    clearances: tuple[ClearanceRow, ...]
    open_flying: OpenFlyingRow | None
    turns: tuple[TurnRow, ...]
    bench_ticks: tuple[BenchTickRow, ...]
    picture_checks: tuple[PictureCheckRow, ...]
    trouble_reports: tuple[TroubleReportRow, ...]
    down_transmitters: tuple[DownTransmitterRow, ...]
    outside_signals: tuple[OutsideSignalRow, ...]
    paper_choice: PaperChoiceRow | None
