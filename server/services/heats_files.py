"""Given heats as a CSV file: who flies with whom, where results decide it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from server.services.callsigns import callsign_key, tidy
from server.services.csv_files import column_key, read_table
from server.services.faults import WHOLE_FILE, Fault, FaultyInputError, nearest, shown
from server.wording import gettext as _

COLUMNS = ("heat", "callsign")
MOST_ROWS = 5000

_HEAT_NUMBER = re.compile(r"[0-9]{1,4}")


@dataclass(frozen=True)
class _Seat:
    line: int
    heat: str
    callsign: str


def read_heats(data: bytes, file: str, known: Mapping[str, str]) -> tuple[tuple[str, ...], ...]:
    """The callsigns of heat 1, heat 2, … as the roster spells them. Raises FaultyInputError.

    known  callsigns of the roster by their key
    """
    seats = _seats(data, file)
    faults: list[Fault] = []
    heats: dict[int, list[str]] = {}
    for seat in seats:
        number = int(seat.heat) if _HEAT_NUMBER.fullmatch(seat.heat) else 0
        callsign = known.get(callsign_key(seat.callsign))
        if number < 1:
            problem = _("“%(heat)s” is not a heat number", heat=shown(seat.heat))
            faults.append(
                Fault(file, seat.line, "heat", seat.heat, problem, _("write 1, 2, 3 \N{HORIZONTAL ELLIPSIS}"))
            )
        if callsign is None:
            faults.append(_unknown_callsign(file, seat, known))
        elif callsign in heats.setdefault(number, []):
            problem = _("%(callsign)s stands in heat %(number)s twice", callsign=callsign, number=number)
            faults.append(
                Fault(file, seat.line, "callsign", seat.callsign, problem, _("keep one of the lines"))
            )
        else:
            heats[number].append(callsign)
    if not faults:
        faults.extend(_gap_fault(file, heats))
    if faults:
        raise FaultyInputError(faults)
    return tuple(tuple(heats[number]) for number in sorted(heats))


def _seats(data: bytes, file: str) -> list[_Seat]:
    table = read_table(data, file, COLUMNS)
    names = [column_key(name) for name in table.columns]
    header = ", ".join(table.columns)
    faults = [
        Fault(
            file,
            1,
            name,
            header,
            _("there must be one column %(name)s", name=name),
            _("start the file with heat,callsign"),
        )
        for name in COLUMNS
        if names.count(name) != 1
    ]
    if not faults and not table.rows:
        faults.append(
            Fault(
                file,
                1,
                _(WHOLE_FILE),
                header,
                _("there are no heats in the file"),
                _("write lines such as 1,Wren"),
            )
        )
    if not faults and len(table.rows) > MOST_ROWS:
        problem = _(
            "the file has %(number)s lines, more than %(most_rows)s",
            number=len(table.rows),
            most_rows=MOST_ROWS,
        )
        faults.append(
            Fault(file, table.rows[MOST_ROWS][0], _(WHOLE_FILE), "", problem, _("keep the heats of one day"))
        )
    if faults:
        raise FaultyInputError(faults)
    at = [names.index(name) for name in COLUMNS]
    return [
        _Seat(line, *(tidy(cells[place]) if place < len(cells) else "" for place in at))
        for line, cells in table.rows
    ]


def _unknown_callsign(file: str, seat: _Seat, known: Mapping[str, str]) -> Fault:
    meant = nearest(seat.callsign, known.values())
    cure = (
        _("write %(meant)s", meant=meant) if meant else _("write a callsign of the roster, or add that pilot")
    )
    problem = _("“%(callsign)s” is not in the roster", callsign=shown(seat.callsign))
    return Fault(file, seat.line, "callsign", seat.callsign, problem, cure)


def _gap_fault(file: str, heats: Mapping[int, list[str]]) -> list[Fault]:
    missing = sorted(set(range(1, len(heats) + 1)) - set(heats))
    if not missing:
        return []
    text = " ".join(str(number) for number in sorted(heats))
    problem = _("there is a heat %(heats)s but no heat %(missing)s", heats=max(heats), missing=missing[0])
    return [
        Fault(
            file,
            1,
            "heat",
            text,
            problem,
            _("number the heats 1, 2, 3 \N{HORIZONTAL ELLIPSIS} without a gap"),
        )
    ]
