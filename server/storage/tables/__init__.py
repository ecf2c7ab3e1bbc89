"""All tables; importing this module fills the metadata that sessions and migrations work on.

Columns that end in `_json` hold JSON as text, so that a snapshot is read back exactly as it was written.
"""

from server.storage.tables.access import FailedSignIn, PassPhrase, SignedIn
from server.storage.tables.aircraft import VIDEO_KINDS, Aircraft
from server.storage.tables.bench_tick import BENCH_ITEMS, OF_THE_VIDEO, BenchTick
from server.storage.tables.clearance import (
    BENCH_CHECK,
    CALLED_OFF,
    CLEARANCE_PLACES,
    CLEARANCE_REASONS,
    CLEARANCE_STAGES,
    CLEARANCES_MAY_BE_ON,
    CLEARED,
    NOT_KNOWN,
    ON,
    PICTURE_CHECK,
    PILOT_LINE,
    PITS,
    RETUNE,
    SET_UP,
    UNASKED,
    Clearance,
)
from server.storage.tables.club import Club
from server.storage.tables.down_transmitter import DownTransmitter
from server.storage.tables.draft import Draft
from server.storage.tables.field_day import FieldDay
from server.storage.tables.flight_line import (
    CALL_SLOT_STAGES,
    CALL_STAGES,
    LANDED,
    LEFT_OUT,
    OFF,
    OVER,
    PICTURE_CLEAR,
    POWERING_UP,
    Call,
    CallSlot,
    FlightLine,
)
from server.storage.tables.job import RUNNING, StoredJob
from server.storage.tables.logbook_entry import LogbookEntry
from server.storage.tables.open_flying import (
    DOWN,
    FLYING,
    LANDING,
    POWER_UP,
    READY,
    TURN_STAGES,
    WAITING,
    OpenFlying,
    Turn,
)
from server.storage.tables.outside_signal import OutsideSignal
from server.storage.tables.paper_choice import PaperChoice
from server.storage.tables.picture_check import (
    CHANNEL_IN_DOUBT,
    CHANNEL_RIGHT,
    CHANNEL_WRONG,
    VERDICTS,
    PictureCheck,
)
from server.storage.tables.pilot import CHECKED_IN, NO_SHOW, PILOT_STATES, WITHDRAWN, Pilot
from server.storage.tables.published_plan import PublishedPlan
from server.storage.tables.trouble_report import TroubleReport

__all__ = [
    "BENCH_CHECK",
    "BENCH_ITEMS",
    "CALLED_OFF",
    "CALL_SLOT_STAGES",
    "CALL_STAGES",
    "CHANNEL_IN_DOUBT",
    "CHANNEL_RIGHT",
    "CHANNEL_WRONG",
    "CHECKED_IN",
    "CLEARANCES_MAY_BE_ON",
    "CLEARANCE_PLACES",
    "CLEARANCE_REASONS",
    "CLEARANCE_STAGES",
    "CLEARED",
    "DOWN",
    "FLYING",
    "LANDED",
    "LANDING",
    "LEFT_OUT",
    "NOT_KNOWN",
    "NO_SHOW",
    "OFF",
    "OF_THE_VIDEO",
    "ON",
    "OVER",
    "PICTURE_CHECK",
    "PICTURE_CLEAR",
    "PILOT_LINE",
    "PILOT_STATES",
    "PITS",
    "POWERING_UP",
    "POWER_UP",
    "READY",
    "RETUNE",
    "RUNNING",
    "SET_UP",
    "TURN_STAGES",
    "UNASKED",
    "VERDICTS",
    "VIDEO_KINDS",
    "WAITING",
    "WITHDRAWN",
    "Aircraft",
    "BenchTick",
    "Call",
    "CallSlot",
    "Clearance",
    "Club",
    "DownTransmitter",
    "Draft",
    "FailedSignIn",
    "FieldDay",
    "FlightLine",
    "LogbookEntry",
    "OpenFlying",
    "OutsideSignal",
    "PaperChoice",
    "PassPhrase",
    "PictureCheck",
    "Pilot",
    "PublishedPlan",
    "SignedIn",
    "StoredJob",
    "TroubleReport",
    "Turn",
]
