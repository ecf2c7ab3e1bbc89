"""Given heats as a CSV file: who flies with whom, where results decide it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from server.services.callsigns import callsign_key, tidy
from server.services.csv_files import column_key, read_table
from server.services.faults import WHOLE_FILE, Fault, FaultyInputError, nearest, shown

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
            problem = f"“{shown(seat.heat)}” is not a heat number"
            faults.append(Fault(file, seat.line, "heat", seat.heat, problem, "write 1, 2, 3 …"))
        if callsign is None:
            faults.append(_unknown_callsign(file, seat, known))
        elif callsign in heats.setdefault(number, []):
            problem = f"{callsign} stands in heat {number} twice"
            faults.append(Fault(file, seat.line, "callsign", seat.callsign, problem, "keep one of the lines"))
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
        Fault(file, 1, name, header, f"there must be one column {name}", "start the file with heat,callsign")
        for name in COLUMNS
        if names.count(name) != 1
    ]
    if not faults and not table.rows:
        faults.append(
            Fault(file, 1, WHOLE_FILE, header, "there are no heats in the file", "write lines such as 1,Wren")
        )
    if not faults and len(table.rows) > MOST_ROWS:
        problem = f"the file has {len(table.rows)} lines, more than {MOST_ROWS}"
        faults.append(
            Fault(file, table.rows[MOST_ROWS][0], WHOLE_FILE, "", problem, "keep the heats of one day")
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
    cure = f"write {meant}" if meant else "write a callsign of the roster, or add that pilot"
    problem = f"“{shown(seat.callsign)}” is not in the roster"
    return Fault(file, seat.line, "callsign", seat.callsign, problem, cure)


def _gap_fault(file: str, heats: Mapping[int, list[str]]) -> list[Fault]:
    missing = sorted(set(range(1, len(heats) + 1)) - set(heats))
    if not missing:
        return []
    text = " ".join(str(number) for number in sorted(heats))
    problem = f"there is a heat {max(heats)} but no heat {missing[0]}"
    return [Fault(file, 1, "heat", text, problem, "number the heats 1, 2, 3 … without a gap")]
