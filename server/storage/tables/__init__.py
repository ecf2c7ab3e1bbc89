"""All tables; importing this module fills the metadata that sessions and migrations work on.

Columns that end in `_json` hold JSON as text, so that a snapshot is read back exactly as it was written.
"""

from server.storage.tables.aircraft import VIDEO_KINDS, Aircraft
from server.storage.tables.bench_tick import BENCH_ITEMS, OF_THE_VIDEO, BenchTick
from server.storage.tables.director import DirectorSecret, DirectorSession, FailedSignIn
from server.storage.tables.down_transmitter import DownTransmitter
from server.storage.tables.draft import Draft
from server.storage.tables.field_day import FieldDay
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
from server.storage.tables.picture_check import (
    CHANNEL_IN_DOUBT,
    CHANNEL_RIGHT,
    CHANNEL_WRONG,
    VERDICTS,
    PictureCheck,
)
from server.storage.tables.pilot import CHECKED_IN, NO_SHOW, PILOT_STATES, WITHDRAWN, Pilot
from server.storage.tables.published_plan import PublishedPlan

__all__ = [
    "BENCH_ITEMS",
    "CHANNEL_IN_DOUBT",
    "CHANNEL_RIGHT",
    "CHANNEL_WRONG",
    "CHECKED_IN",
    "DOWN",
    "FLYING",
    "LANDING",
    "NO_SHOW",
    "OF_THE_VIDEO",
    "PILOT_STATES",
    "POWER_UP",
    "READY",
    "TURN_STAGES",
    "VERDICTS",
    "VIDEO_KINDS",
    "WAITING",
    "WITHDRAWN",
    "Aircraft",
    "BenchTick",
    "DirectorSecret",
    "DirectorSession",
    "DownTransmitter",
    "Draft",
    "FailedSignIn",
    "FieldDay",
    "LogbookEntry",
    "OpenFlying",
    "PictureCheck",
    "Pilot",
    "PublishedPlan",
    "Turn",
]
