"""`bandstand plan` and `bandstand check` from files to output and exit status."""

import json
import os
import subprocess
import sys

import pytest

from server import cli, cli_plan
from server.allocator.errors import Cancelled

EIGHT = "callsign,tunes\n" + "".join(f"Pilot {number},A B E F R\n" for number in range(8))
OUTSIDE = "5732 MHz, 10 MHz wide, weak, \N{MINUS SIGN}85 dBm"
FOUR = "callsign,tunes,apart\nWren,R,Otter\nOtter,R7,\nRook,F8 R1,\nTeal,R,\n"


@pytest.fixture
def field(tmp_path, monkeypatch):
    """A folder to write files in, which the commands run from."""
    monkeypatch.chdir(tmp_path)

    def write(**files):
        for name, text in files.items():
            (tmp_path / name.replace("_", ".")).write_text(text, encoding="utf-8")

    return write


def planned(capsys, *options, status=0):
    assert cli.main(["plan", "roster.csv", "--json", *options]) == status
    return json.loads(capsys.readouterr().out)


def test_one_heat_of_eight_equal_pilots_is_proved(field, capsys):
    field(roster_csv=EIGHT)
    plan = planned(capsys, "--one-heat", "--time-limit", "60")
    assert (plan["status"], plan["bound_db"], plan["site_ceiling_db"]) == ("optimal", -0.59, -0.45)
    assert plan["worst_margin_db"] >= plan["bound_db"] - 0.5
    (heat,) = plan["heats"]
    assert heat["proved"] is True
    assert len({slot["mhz"] for slot in heat["slots"]}) == 8


def test_a_day_of_heats_keeps_wishes_and_labels(field, capsys):
    field(roster_csv=FOUR)
    plan = planned(capsys, "--aircraft", "2", "--rounds", "2")
    assert plan["status"] in ("optimal", "feasible")
    assert [(heat["heat"], heat["round"]) for heat in plan["heats"]] == [(1, 1), (2, 1), (3, 2), (4, 2)]
    for heat in plan["heats"]:
        assert {"Wren", "Otter"} != {slot["callsign"] for slot in heat["slots"]}
    channels = {slot["callsign"]: slot["channel"] for heat in plan["heats"] for slot in heat["slots"]}
    assert channels["Otter"] == "R7"
    assert channels["Rook"] in ("F8", "R1")


def test_an_option_wins_over_the_site_file_and_both_are_listed(field, capsys):
    field(roster_csv=FOUR, site_toml="aircraft = 4\nrounds = 2\nnear_m = 10\n[rules]\nname = 'tern-meadow'\n")
    plan = planned(capsys, "--site", "site.toml", "--rounds", "1", "--aircraft", "2")
    assert len(plan["heats"]) == 2
    listed = {one["name"]: (one["value"], one["source"]) for one in plan["assumptions"]}
    assert (listed["aircraft"], listed["rounds"]) == ((2, "option"), (1, "option"))
    assert (listed["near_m"], listed["rules"]) == (
        (10, "site file"),
        ("Tern Meadow club permit", "site file"),
    )
    assert any(text.startswith("Within the rules chosen for this day") for text in plan["warnings"])


def test_the_same_question_has_the_same_answer(field, capsys):
    field(roster_csv=FOUR)
    one, other = (planned(capsys, "--aircraft", "2", "--seed", "7") for _ in range(2))
    assert one["heats"] == other["heats"]


def test_given_heats_are_flown_as_given(field, capsys):
    field(roster_csv=FOUR, heats_csv="heat,callsign\n1,wren\n1,ROOK\n2,Teal\n2,Wren\n")
    plan = planned(capsys, "--heats", "heats.csv")
    assert [{slot["callsign"] for slot in heat["slots"]} for heat in plan["heats"]] == [
        {"Wren", "Rook"},
        {"Teal", "Wren"},
    ]
    assert "Otter is in no given heat." in plan["warnings"]


def test_rules_that_cannot_hold_are_status_1_and_an_object(field, capsys):
    field(roster_csv="callsign,tunes,together\nOtter,5800,Rook\nRook,5800,\n")
    plan = planned(capsys, status=1)
    assert (plan["status"], plan["heats"]) == ("infeasible", [])
    assert plan["conflicts"][0]["cures"]


def test_a_pilot_outside_the_rules_is_status_1_and_named(field, capsys):
    field(roster_csv="callsign,tunes\nOtter,R8\nRook,R\n", site_toml="[rules]\nname = 'eu-short-range'\n")
    plan = planned(capsys, "--site", "site.toml", status=1)
    assert [conflict["rules"][0] for conflict in plan["conflicts"]] == ["Otter can use only R8 5917 MHz"]
    assert planned(capsys, "--site", "site.toml", "--compare", status=1)["status"] == "infeasible"


def test_a_plan_that_nobody_should_fly_is_status_1_with_its_heats(field, capsys):
    field(roster_csv=EIGHT, site_toml="near_m = 2\nfar_m = 200\n")
    plan = planned(capsys, "--site", "site.toml", "--aircraft", "8", status=1)
    assert (plan["status"], len(plan["heats"])) == ("unflyable", 1)
    assert "one more heat" in plan["conflicts"][0]["cures"][0]


def test_how_many_can_fly(field, capsys):
    field(roster_csv=FOUR)
    rows = planned(capsys, "--compare")["compare"]
    assert [(row["aircraft"], row["heats"], row["minutes"]) for row in rows] == [(3, 2, 10), (4, 1, 5)]


def test_the_text_has_the_same_facts(field, capsys):
    field(roster_csv=FOUR)
    assert cli.main(["plan", "roster.csv", "--aircraft", "2"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Planned: ")
    assert "Heat 2, round 1: worst margin" in out
    assert err == ""
    assert cli.main(["plan", "roster.csv", "--compare"]) == 0
    assert capsys.readouterr().out.startswith("How many can fly\n")


def test_unknown_columns_are_a_notice_on_standard_error(field, capsys):
    field(roster_csv="callsign,tunes,shoe\nWren,R,43\n")
    assert cli.main(["plan", "roster.csv", "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["heats"][0]["slots"][0]["margin_db"] is None
    assert err == "roster.csv:1: the column “shoe” is not known and ignored\n"


def test_a_heat_too_large_for_the_air_is_bad_input(field, capsys):
    field(roster_csv=EIGHT + EIGHT.partition("\n")[2].replace("Pilot", "Other"))
    assert cli.main(["plan", "roster.csv", "--one-heat"]) == 2
    assert capsys.readouterr().err.startswith("roster.csv:1: whole file: a heat of 16 pilots")


def test_given_heats_and_one_heat_exclude_each_other(field, capsys):
    field(roster_csv=FOUR, heats_csv="heat,callsign\n1,Wren\n")
    assert cli.main(["plan", "roster.csv", "--one-heat", "--heats", "heats.csv"]) == 2
    assert "--heats and --one-heat exclude each other" in capsys.readouterr().err


@pytest.mark.parametrize("stop", [KeyboardInterrupt(), Cancelled("the search was stopped")])
def test_stopped_before_any_plan_is_status_3(stop, field, capsys, monkeypatch):
    def stopped(problem):
        raise stop

    monkeypatch.setattr(cli_plan, "plan_day", stopped)
    field(roster_csv=FOUR)
    assert cli.main(["plan", "roster.csv", "--json"]) == 3
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert err.startswith("Stopped before there was any plan")


def test_a_fault_of_ours_is_status_70_and_one_line(field, capsys, monkeypatch):
    def broken(problem):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(cli_plan, "plan_day", broken)
    field(roster_csv=FOUR)
    assert cli.main(["plan", "roster.csv"]) == 70
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("A fault of ours at test_cli_plan.py:")
    assert "ZeroDivisionError: division by zero" in err


def test_check_scores_an_even_comb(field, capsys):
    assert cli.main(["check", *(f"R{number}" for number in range(1, 9)), "--power", "600", "--json"]) == 0
    check = json.loads(capsys.readouterr().out)
    margins = [channel["margin_db"] for channel in check["channels"]]
    assert (min(margins), max(margins), check["worst_margin_db"]) == (-13.36, -12.25, -13.36)


def test_check_reads_the_site_and_speaks_to_people(field, capsys):
    field(site_toml="near_m = 2\nfar_m = 15\n[rules]\nname = 'eu-short-range'\n")
    assert cli.main(["check", "R1", "F4", "--site", "site.toml"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("2 transmitters of 25 mW. Worst margin: 10.50 dB")
    assert "R1: 5658 MHz reaches from 5653 to 5663 MHz, outside 5725-5875 MHz." in out


def test_a_terminal_of_an_old_encoding_gets_the_whole_report(field):
    field(roster_csv="callsign,tunes\nZoë,R\nWren,R\n")
    environment = os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-m", "server.cli", "plan", "roster.csv"],
        env=environment,
        capture_output=True,
        timeout=120,
    )
    assert done.returncode == 0
    assert b"Zo\\xeb" in done.stdout


def test_a_reader_who_has_seen_enough_is_no_fault(field):
    field(roster_csv=FOUR)
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    read_end, write_end = os.pipe()
    os.close(read_end)
    done = subprocess.run(
        [sys.executable, "-m", "server.cli", "plan", "roster.csv"],
        env=environment,
        stdout=write_end,
        stderr=subprocess.PIPE,
        timeout=120,
    )
    os.close(write_end)
    assert (done.returncode, done.stderr) == (0, b"")


def test_both_commands_hear_what_the_site_file_says_is_on_the_air(field, capsys):
    field(roster_csv="callsign,tunes\nWren,R3 R6\n", site_toml='outside = ["R3 weak"]\n')
    plan = planned(capsys, "--site", "site.toml")
    assert plan["heats"][0]["slots"][0]["channel"] == "R6"
    assert plan["assumptions"][-1]["name"] == "seed"
    assert {"name": "outside", "source": "site file", "unit": "", "value": OUTSIDE} in plan["assumptions"]
    assert cli.main(["check", "R3", "--site", "site.toml"]) == 0
    told = capsys.readouterr().out
    assert "The outside signal at 5732 MHz, right on this channel, takes 100 %" in told
    assert OUTSIDE in told
