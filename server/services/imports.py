"""A list of pilots from any sign-up form: looked at first, brought in only when somebody says so.

Nothing is kept between the two: the page carries the text, the columns' meaning and a mark of what was seen, so
that a roster or a list that changed meanwhile is shown again instead of being added unseen.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.services import import_columns, pilots
from server.services.callsigns import callsign_key, tidy
from server.services.csv_files import Table, read_table
from server.services.faults import WHOLE_FILE, Fault, FaultyInputError, FieldFault, FieldsError, shown
from server.services.gear import UNKNOWN
from server.services.import_columns import FIELDS
from server.services.pilots import Reading
from server.services.roster_files import MOST_PILOTS
from server.services.roster_rows import YES
from server.storage import logbook
from server.storage import pilots as stored
from server.storage.tables import FieldDay, Pilot
from server.wording import gettext as _
from server.wording import marked, ngettext

PASTED = marked("pasted list")

LARGEST_TEXT = 2_000_000
MOST_COLUMNS = 100

_YES_WORDS = frozenset(("yes", "y", "true", "1", "x", "ok", "present"))


@dataclass(frozen=True)
class Wish:
    """What the screen says about a list.

    meaning       the field of each column, empty to leave it out; None: guess
    has_header    whether the first row names the columns; None: find out
    takes_unknown missing channels count as "don't know"
    """

    text: str
    file: str = field(default_factory=lambda: _(PASTED))
    meaning: tuple[str, ...] | None = None
    has_header: bool | None = None
    takes_unknown: bool | None = None


@dataclass(frozen=True)
class GoodRow:
    line: int
    reading: Reading


@dataclass(frozen=True)
class Look:
    """A list as it would be brought in.

    bad    rows with a fault: line, callsign as typed, every fault with its column
    seen   changes with everything that the screen shows
    """

    table: Table
    meaning: tuple[str, ...]
    has_header: bool
    takes_unknown: bool
    good: tuple[GoodRow, ...] = ()
    bad: tuple[tuple[int, str, tuple[Fault, ...]], ...] = ()
    faults: tuple[Fault, ...] = ()

    @property
    def seen(self) -> str:
        facts = (self.table, self.meaning, self.takes_unknown, [row.line for row in self.good])
        return hashlib.sha256(repr(facts).encode()).hexdigest()[:16]


def look_at(session: Session, day: FieldDay, wish: Wish) -> Look:
    """What bringing the list in would do. Raises FaultyInputError for a text that is no table."""
    table, has_header = _table(wish)
    guessed = import_columns.guess if has_header else lambda _: import_columns.guess_from_cells(table)
    meaning = wish.meaning if _fits(wish.meaning, table) else guessed(table.columns)
    assert meaning is not None
    takes_unknown = "tunes" not in meaning if wish.takes_unknown is None else wish.takes_unknown
    look = Look(table, meaning, has_header, takes_unknown)
    roster = stored.of_day(session, day.id or 0)
    if faults := _list_faults(table, meaning, len(roster)):
        return Look(table, meaning, has_header, takes_unknown, faults=faults)
    return _read_rows(look, roster)


def bring_in(session: Session, day: FieldDay, look: Look, who: str, at: datetime) -> list[Pilot]:
    """Add the good rows. They get their channels when they stand at the desk, or with the plan."""
    added = [pilots.store(session, day, row.reading, who, at, gives_channel=False) for row in look.good]
    brought = {"pilots": _count(len(added)), "file": shown(look.table.file)}
    if look.bad:
        words = _(
            "Brought in %(pilots)s from %(file)s, left %(number)s out.", number=len(look.bad), **brought
        )
    else:
        words = _("Brought in %(pilots)s from %(file)s.", **brought)
    facts = {"added": len(added), "left_out": len(look.bad)}
    logbook.append(session, day.id, who, "roster brought in", words, facts, at)
    return added


def _table(wish: Wish) -> tuple[Table, bool]:
    if len(wish.text) > LARGEST_TEXT:
        problem = _(
            "the list is longer than %(number)s million characters",
            number=LARGEST_TEXT // 1000000,
        )
        raise FaultyInputError([_whole_list(wish.file, problem, _("keep the pilots only"))])
    # A browser sends other line ends than a file has, and what was seen must not change by that.
    text = wish.text.replace("\r\n", "\n").replace("\r", "\n")
    table = read_table(text.encode("utf-8", "replace"), wish.file, import_columns.KNOWN_KEYS)
    if len(table.columns) > MOST_COLUMNS:
        problem = _("the list has %(number)s columns", number=len(table.columns))
        raise FaultyInputError(
            [_whole_list(wish.file, problem, _("keep at most %(number)s", number=MOST_COLUMNS))]
        )
    has_header = import_columns.has_header(table) if wish.has_header is None else wish.has_header
    return (table if has_header else import_columns.without_header(table)), has_header


def _fits(meaning: tuple[str, ...] | None, table: Table) -> bool:
    return meaning is not None and len(meaning) == len(table.columns) and set(meaning) <= {"", *FIELDS}


def _list_faults(table: Table, meaning: Sequence[str], present: int) -> tuple[Fault, ...]:
    header = ", ".join(table.columns)
    faults = []
    if "callsign" not in meaning:
        cure = _("choose Callsign above the column with the names that people fly under")
        faults.append(Fault(table.file, 1, "callsign", header, _("no column holds the callsigns"), cure))
    for name, words in FIELDS.items():
        if meaning.count(name) > 1:
            cure = _("choose it above one column, and leave the other out")
            problem = _("%(count)s columns are to be %(field)s", count=meaning.count(name), field=_(words))
            faults.append(Fault(table.file, 1, _(words), header, problem, cure))
    if not table.rows:
        faults.append(
            Fault(
                table.file,
                1,
                _(WHOLE_FILE),
                header,
                _("there are no pilots in the list"),
                _("write one a line"),
            )
        )
    free = MOST_PILOTS - present
    if len(table.rows) > free:
        line, cells = table.rows[max(free, 0)]
        problem = _(
            "the list has %(number)s rows, and the roster has room for %(free)s more",
            number=len(table.rows),
            free=free,
        )
        cure = _("keep those who come: a field day holds %(most)s pilots", most=MOST_PILOTS)
        faults.append(Fault(table.file, line, _(WHOLE_FILE), ", ".join(cells), problem, cure))
    return tuple(faults)


def _read_rows(look: Look, roster: Sequence[Pilot]) -> Look:
    """Every row beside the roster and the other good rows: a wish about a row that is left out is a fault."""
    rows = [(line, _typed(look, cells)) for line, cells in look.table.rows]
    first_line: dict[str, int] = {}
    for line, typed in rows:
        first_line.setdefault(callsign_key(typed["callsign"]), line)
    bad: dict[int, tuple[int, str, tuple[Fault, ...]]] = {}
    while True:
        candidates = [(line, typed) for line, typed in rows if line not in bad]
        listed = {callsign_key(typed["callsign"]): tidy(typed["callsign"]) for _, typed in candidates}
        good, refused = [], 0
        for line, typed in candidates:
            try:
                own = _repeat_faults(typed["callsign"], first_line, line)
                good.append(GoodRow(line, pilots.read_beside(typed, roster, listed, own)))
            except FieldsError as error:
                refused += 1
                told = tuple(_at(look, fault, line) for fault in error.field_faults)
                bad[line] = (line, typed["callsign"], told)
        if not refused:
            rows_left_out = tuple(bad[line] for line in sorted(bad))
            return Look(
                look.table, look.meaning, look.has_header, look.takes_unknown, tuple(good), rows_left_out
            )


def _typed(look: Look, cells: Sequence[str]) -> dict[str, str]:
    typed = {field: cells[at] for at, field in enumerate(look.meaning) if field and at < len(cells)}
    if look.takes_unknown and not typed.get("tunes"):
        typed["tunes"] = UNKNOWN
    if "power_mw" not in typed or not typed["power_mw"]:
        typed["power_mw"] = UNKNOWN
    adult = typed.get("adult_present", "").casefold()
    return {"callsign": "", **typed, "adult_present": YES if adult in _YES_WORDS else ""}


def _repeat_faults(callsign: str, first_line: Mapping[str, int], line: int) -> list[FieldFault]:
    first = first_line[callsign_key(callsign)]
    if not callsign or first == line:
        return []
    problem = _("“%(callsign)s” stands on line %(first)s already", callsign=shown(callsign), first=first)
    return [FieldFault("callsign", callsign, problem, _("leave one of them out, or add a letter to it"))]


def _at(look: Look, fault: FieldFault, line: int) -> Fault:
    """The fault under the name that the list itself has for the column."""
    column = fault.field
    if fault.field in look.meaning:
        column = look.table.columns[look.meaning.index(fault.field)]
    return Fault(look.table.file, line, column, fault.text, fault.problem, fault.cure)


def _whole_list(file: str, problem: str, cure: str) -> Fault:
    return Fault(file, 1, _(WHOLE_FILE), "", problem, cure)


def _count(number: int) -> str:
    return ngettext("%(number)s pilot", "%(number)s pilots", number)
