"""The roster as a CSV file: one pilot a line, every fault named with its line, column, text and cure."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from server.services.callsigns import callsign_key, tidy
from server.services.csv_files import Table, column_key, read_table
from server.services.faults import (
    WHOLE_FILE,
    Fault,
    FaultyInputError,
    FieldFault,
    FieldsError,
    nearest,
    shown,
)
from server.services.roster import COLUMNS, REQUIRED, RosterPilot, read_pilot
from server.wording import gettext as _

MOST_PILOTS = 500
"""Far above any field day; a longer file is another kind of list."""


@dataclass(frozen=True)
class Roster:
    """The good rows of a file, what is wrong with the others, and what was ignored.

    known  every callsign of the file by its key, also those of rows with a fault
    """

    pilots: tuple[RosterPilot, ...]
    faults: tuple[Fault, ...] = ()
    notices: tuple[str, ...] = ()
    known: Mapping[str, str] = field(default_factory=dict)


def read_roster(
    data: bytes, file: str, strict: bool = False, meaning: Mapping[str, str] | None = None
) -> Roster:
    """The roster in the bytes of a CSV file.

    strict   an unknown column is a fault, not a notice
    meaning  which of COLUMNS a column of the file is, by the file's own name for it; the others are
             ignored. None: each is what its name says

    Rows with a fault are left out of `pilots`; a bad file raises nothing.
    """
    try:
        table = read_table(data, file, COLUMNS)
    except FaultyInputError as error:
        return Roster((), error.faults)
    if meaning is None:
        names = tuple(column_key(name) for name in table.columns)
        unknown = list(_unknown_columns(table, names))
    else:
        names, unknown = tuple(meaning.get(name, "") for name in table.columns), []
    faults = [*_header_faults(table, names), *(unknown if strict else [])]
    notices = (
        ()
        if strict
        else tuple(
            _("%(file)s:1: %(problem)s and ignored", file=file, problem=fault.problem) for fault in unknown
        )
    )
    if faults:
        return Roster((), tuple(faults), notices)
    if fault := _size_fault(table):
        return Roster((), (fault,), notices)
    return _read_rows(table, names, notices)


def _header_faults(table: Table, names: tuple[str, ...]) -> Iterator[Fault]:
    header = ", ".join(table.columns)
    for name in REQUIRED:
        if name not in names:
            cure = _("add a column %(name)s; the header is the first row", name=name)
            yield Fault(table.file, 1, name, header, _("there is no column %(name)s", name=name), cure)
    for name in COLUMNS:
        if names.count(name) > 1:
            cure = _("keep one of them, or give the other a name of its own")
            yield Fault(
                table.file,
                1,
                name,
                header,
                _("the column %(name)s stands there %(count)s times", name=name, count=names.count(name)),
                cure,
            )


def _unknown_columns(table: Table, names: tuple[str, ...]) -> Iterator[Fault]:
    for column, name in zip(table.columns, names, strict=True):
        if name in COLUMNS:
            continue
        meant = nearest(name, COLUMNS)
        cure = (
            _("call it %(meant)s if that is meant, or leave it out", meant=meant)
            if meant
            else _("leave it out")
        )
        yield Fault(
            table.file,
            1,
            shown(column),
            column,
            _("the column “%(column)s” is not known", column=shown(column)),
            cure,
        )


def _size_fault(table: Table) -> Fault | None:
    if not table.rows:
        cure = _("write one pilot a line under the header")
        return Fault(
            table.file, 1, _(WHOLE_FILE), ", ".join(table.columns), _("there are no pilots in the file"), cure
        )
    if len(table.rows) > MOST_PILOTS:
        line, cells = table.rows[MOST_PILOTS]
        problem = _(
            "the file has %(number)s pilots, more than the %(most)s of one field day",
            number=len(table.rows),
            most=MOST_PILOTS,
        )
        cure = _("split it, or keep the %(most)s who come", most=MOST_PILOTS)
        return Fault(table.file, line, _(WHOLE_FILE), ", ".join(cells), problem, cure)
    return None


def _read_rows(table: Table, names: tuple[str, ...], notices: tuple[str, ...]) -> Roster:
    known: dict[str, str] = {}
    first_line: dict[str, int] = {}
    for line, cells in table.rows:
        callsign = _typed(names, cells)["callsign"]
        known.setdefault(callsign_key(callsign), tidy(callsign))
        first_line.setdefault(callsign_key(callsign), line)
    pilots: list[RosterPilot] = []
    faults: list[Fault] = []
    for line, cells in table.rows:
        typed = _typed(names, cells)
        found = [*_surplus_fault(names, cells), *_repeat_fault(typed["callsign"], first_line, line)]
        try:
            pilot = read_pilot(typed, known, line)
        except FieldsError as error:
            found.extend(error.field_faults)
        if found:
            faults.extend(fault.at(table.file, line) for fault in found)
        else:
            pilots.append(pilot)
    return Roster(tuple(pilots), tuple(faults), notices, known)


def _typed(names: tuple[str, ...], cells: tuple[str, ...]) -> dict[str, str]:
    """The cells by column; those that a short row leaves out are empty."""
    padded = (*cells, *[""] * (len(names) - len(cells)))
    return {name: cell for name, cell in zip(names, padded, strict=False) if name in COLUMNS}


def _surplus_fault(names: tuple[str, ...], cells: tuple[str, ...]) -> Iterator[FieldFault]:
    surplus = [cell for cell in cells[len(names) :] if cell]
    if surplus:
        problem = _("the row has more cells than the %(number)s of the header", number=len(names))
        cure = _('put a cell that holds separators in quotes, such as "E1-E3,E5"')
        yield FieldFault(_("cell %(number)s", number=len(names) + 1), ", ".join(surplus), problem, cure)


def _repeat_fault(callsign: str, first_line: Mapping[str, int], line: int) -> Iterator[FieldFault]:
    key = callsign_key(callsign)
    if key and first_line[key] != line:
        problem = _(
            "“%(callsign)s” stands on line %(first_line)s already",
            callsign=shown(callsign),
            first_line=first_line[key],
        )
        yield FieldFault(
            "callsign",
            callsign,
            problem,
            _("give one of them another callsign, such as %(tidy)s 2", tidy=tidy(callsign)),
        )
