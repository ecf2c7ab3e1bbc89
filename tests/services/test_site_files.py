"""Site files: TOML, and the line of every fault."""

import pytest

from server.radio.outside import OutsideSignal
from server.services.faults import FaultyInputError
from server.services.site_files import read_site


def faults(text):
    with pytest.raises(FaultyInputError) as caught:
        read_site(text.encode(), "site.toml")
    return [(fault.line, fault.column) for fault in caught.value.faults]


def test_reads_settings_receiver_and_rules():
    settings = read_site(
        b'\xef\xbb\xbfnear_m = 10\r\nbans = ["R1"]\r\n'
        b'[receiver]\r\niip3_dbm = -15\r\n[rules]\r\nname = "tern-meadow"\r\n',
        "site.toml",
    )
    assert (settings.site.near_m, settings.site.receiver.iip3_dbm) == (10, -15)
    assert settings.bans_mhz == (5658,)
    assert settings.rule_set is not None
    assert settings.rule_set.name == "Tern Meadow club permit"


def test_an_empty_file_is_the_default_of_everything():
    assert read_site(b"", "site.toml").given == frozenset()


def test_faults_stand_on_the_lines_of_their_settings_in_order():
    text = '# site\nfar_m = 5\n\n[receiver]\n"iip3_dbm" = 99\nnoise = 1\n[rules]\nyear = "x"\nranges = [[1, 2]]\n'
    assert faults(text) == [(2, "far_m"), (5, "receiver.iip3_dbm"), (6, "receiver.noise"), (8, "rules.year")]


def test_a_name_in_another_table_is_not_taken_for_the_setting():
    text = 'name = "x"\n[receiver]\nname = "y"\n[rules]\nname = "Atlantis"\n'
    assert faults(text) == [(1, "name"), (3, "receiver.name"), (5, "rules.name")]


def test_dotted_names_and_whole_tables_are_found():
    assert faults("rest_heats = 1\nreceiver.iip3_dbm = 99\n") == [(2, "receiver.iip3_dbm")]
    assert faults("rest_heats = 1\n[rules]\n") == [(2, "rules")]
    assert faults("rest_heats = 1\nrules = { name = 'x' }\n") == [(2, "rules.name")]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("near_m = 8\nfar_m = = 5\n", (2, "character 9")),
        ("near_m = 8\nnear_m = 9\n", (2, "character 11")),
        ("bans = [1,\n", (1, "whole file")),
    ],
)
def test_a_fault_of_syntax_has_the_place_that_the_parser_tells(text, place):
    assert faults(text) == [place]


def test_what_else_is_on_the_air_is_a_list_of_lines():
    settings = read_site(b'outside = ["5745 20 -62 camera van", "wifi 157 40 weak"]\n', "site.toml")
    assert settings.site.outside == (OutsideSignal(5745, 20, -62), OutsideSignal(5795, 40, -85))


def test_a_line_that_names_no_signal_is_told_with_its_place():
    assert faults('near_m = 8\noutside = ["the van"]\n') == [(2, "outside")]
    assert faults("outside = 5745\n") == [(1, "outside")]
