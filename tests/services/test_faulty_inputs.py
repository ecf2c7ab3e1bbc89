"""Whatever is wrong with a file or an option, the message says where, shows the text and tells the cure."""

import argparse
import json
import subprocess
import sys
from pathlib import Path

import pytest

from server.cli_plan import add_check_parser, add_plan_parser
from tests.faulty_inputs import FAULTY, Faulty

PROJECT = Path(__file__).parents[2]
STARTS = "import sys, tests.services.test_faulty_inputs as one; sys.exit(one.run(sys.argv[1:]))"


def run(command: list[str] | tuple[str, ...]) -> int:
    parser = argparse.ArgumentParser(prog="bandstand")
    commands = parser.add_subparsers(required=True)
    add_plan_parser(commands)
    add_check_parser(commands)
    args = parser.parse_args(command)
    return args.run(args)


def test_there_are_more_than_fifty_different_ones():
    assert len({faulty.name for faulty in FAULTY}) == len(FAULTY) > 50


@pytest.mark.parametrize("faulty", FAULTY, ids=lambda faulty: faulty.name)
def test_each_is_refused_with_place_text_and_cure(faulty: Faulty, tmp_path, monkeypatch, capsys):
    faulty.write(tmp_path)
    monkeypatch.chdir(tmp_path)

    assert run(faulty.command) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    found = [line for line in err.splitlines() if line.startswith(f"{faulty.place}: ")]
    assert len(found) == 1, err
    assert faulty.text in found[0]
    assert faulty.cure in found[0]


@pytest.mark.parametrize("faulty", FAULTY, ids=lambda faulty: faulty.name)
def test_each_is_told_to_programs_with_the_same_facts(faulty: Faulty, tmp_path, monkeypatch, capsys):
    faulty.write(tmp_path)
    monkeypatch.chdir(tmp_path)

    assert run([*faulty.command, "--json"]) == 2
    answer = json.loads(capsys.readouterr().out)
    assert answer["status"] == "bad_input"
    for fault in answer["faults"]:
        assert list(fault) == ["file", "line", "column", "text", "problem", "cure"]
    places = [f"{fault['file']}:{fault['line']}: {fault['column']}" for fault in answer["faults"]]
    assert faulty.place in places


@pytest.mark.parametrize(
    "name", ["UTF-16 with its mark", "callsign as a formula =", "near beyond far", "endless time"]
)
def test_a_process_of_its_own_ends_with_status_2_and_an_empty_output(name, tmp_path):
    faulty = next(one for one in FAULTY if one.name == name)
    faulty.write(tmp_path)
    # An old terminal's encoding must not turn a message into a crash.
    environment = {"PYTHONPATH": str(PROJECT), "PYTHONIOENCODING": "ascii:backslashreplace"}

    done = subprocess.run(
        [sys.executable, "-c", STARTS, *faulty.command],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        timeout=60,
    )

    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.startswith(faulty.place.encode())
    assert b"Traceback" not in done.stderr


def test_a_file_that_may_not_be_read_is_one_fault(tmp_path, monkeypatch, capsys):
    (tmp_path / "roster.csv").write_text("callsign,tunes\nWren,R\n")

    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    monkeypatch.chdir(tmp_path)

    assert run(["plan", "roster.csv"]) == 2
    assert "cannot be read (Permission denied): check who may read it" in capsys.readouterr().err


def test_all_faults_of_all_files_are_told_at_once_in_the_order_of_their_lines(tmp_path, monkeypatch, capsys):
    (tmp_path / "roster.csv").write_text("callsign,tunes,power_mw\nWren,Q,-5\n=A,R,\nOtter,R,x\n")
    (tmp_path / "site.toml").write_text("near_m = nan\nbans = 'R9'\n")
    monkeypatch.chdir(tmp_path)

    assert run(["plan", "roster.csv", "--site", "site.toml", "--aircraft", "x"]) == 2
    places = [":".join(line.split(":")[:3]) for line in capsys.readouterr().err.splitlines()]
    assert places == [
        "command line:1: --aircraft",
        "roster.csv:2: tunes",
        "roster.csv:2: power_mw",
        "roster.csv:3: callsign",
        "roster.csv:4: power_mw",
        "site.toml:1: near_m",
        "site.toml:2: bans",
    ]


def test_ten_thousand_rows_are_refused(tmp_path, monkeypatch):
    faulty = next(one for one in FAULTY if one.name == "ten thousand rows")
    faulty.write(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert run(faulty.command) == 2


def test_control_characters_of_a_file_never_reach_the_terminal(tmp_path, monkeypatch, capsys):
    (tmp_path / "roster.csv").write_text("callsign,tunes\nWren,\x1b[31mQ\x07\n")
    monkeypatch.chdir(tmp_path)

    assert run(["plan", "roster.csv"]) == 2
    err = capsys.readouterr().err
    assert "\x1b" not in err
    assert "\x07" not in err
    assert err.count("\n") == 1
