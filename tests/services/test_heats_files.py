"""Given heats as a CSV file."""

import pytest

from server.services.faults import FaultyInputError
from server.services.heats_files import MOST_ROWS, read_heats

KNOWN = {"wren": "Wren", "otter": "Otter", "big bird": "Big Bird"}


def heats(text):
    return read_heats(text.encode(), "heats.csv", KNOWN)


def test_reads_heats_by_number_as_the_roster_spells_callsigns():
    assert heats("heat;callsign\n2;wren\n1;OTTER\n1;Wren\n2;big  bird\n") == (
        ("Otter", "Wren"),
        ("Wren", "Big Bird"),
    )


def test_other_columns_do_not_matter():
    assert heats("place,callsign,heat\nfirst,Wren,1\n") == (("Wren",),)


def test_all_faults_are_told_at_once():
    with pytest.raises(FaultyInputError) as caught:
        heats("heat,callsign\nx,Wren\n1,Oter\n1\n1,Otter\n1,otter\n")
    assert [(fault.line, fault.column) for fault in caught.value.faults] == [
        (2, "heat"),
        (3, "callsign"),
        (4, "callsign"),
        (6, "callsign"),
    ]


def test_a_list_of_another_kind_is_refused_whole():
    with pytest.raises(FaultyInputError, match=f"more than {MOST_ROWS}"):
        heats("heat,callsign\n" + "1,Wren\n" * (MOST_ROWS + 1))
