"""The bootstrap: what it makes, what it leaves alone, what it says. The real thing is run by `.ci/run`."""

import ast
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from server import __main__ as bootstrap

ROOT = Path(__file__).resolve().parents[1]
LOCKS = (ROOT / "requirements.lock", ROOT / "requirements-dev.lock")


@pytest.fixture
def project(tmp_path, monkeypatch):
    """A project of its own, in which nothing is really installed; gives the commands that were called."""
    lock, dev_lock = tmp_path / "requirements.lock", tmp_path / "requirements-dev.lock"
    lock.write_text("# versions\nnot-there==1.0\n")
    dev_lock.write_text("not-there-either==1.0\n")
    for name, value in {
        "PROJECT": tmp_path,
        "ENVIRONMENT": tmp_path / ".venv",
        "LOCK": lock,
        "DEV_LOCK": dev_lock,
    }.items():
        monkeypatch.setattr(bootstrap, name, str(value))
    called = []

    def call(command):
        called.append([part.replace(str(tmp_path), "").lstrip("/") for part in command[1:]])
        if "venv" in command:
            python = Path(bootstrap.python_of_environment())
            python.parent.mkdir(parents=True)
            python.symlink_to(sys.executable)

    monkeypatch.setattr(bootstrap, "call", call)
    monkeypatch.setattr(bootstrap, "hand_over", lambda python, command: called.append(["run", *command]) or 0)
    return called


def test_an_old_python_is_told_which_it_needs(monkeypatch):
    monkeypatch.setattr(sys, "version_info", (3, 9, 2))
    assert bootstrap.main(["run"]).startswith("Bandstand needs Python 3.11 or newer; this one is 3.9.")


def test_an_old_python_can_read_what_says_so():
    for name in ("__main__.py", "__init__.py"):
        ast.parse((ROOT / "server" / name).read_text(), feature_version=(3, 6))


def test_it_needs_the_standard_library_only():
    program = "import runpy, sys; sys.argv = ['server']; import server.__main__; print(sorted(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-S", "-c", program], capture_output=True, text=True, cwd=ROOT, check=True
    )
    loaded = {name.split(".")[0] for name in ast.literal_eval(done.stdout)}
    assert loaded - set(sys.stdlib_module_names) <= {"server", "__main__"}


def test_a_first_start_makes_the_environment_and_fills_it(project, tmp_path):
    assert bootstrap.main(["run", "--port", "0"]) == 0
    pip = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    assert project == [
        ["-m", "venv", ".venv"],
        [*pip, "--upgrade", "pip"],
        [*pip, "--requirement", "requirements.lock"],
        ["run", "server.cli", "run", "--port", "0"],
    ]


def test_a_second_start_only_hands_over(project):
    bootstrap.main(["run"])
    project.clear()
    bootstrap.main(["run"])
    assert project == [["run", "server.cli", "run"]]


def test_a_changed_lock_is_installed(project, tmp_path):
    bootstrap.main(["run"])
    project.clear()
    (tmp_path / "requirements.lock").write_text("not-there==2.0\n")
    bootstrap.main(["run"])
    assert [command[-1] for command in project] == ["requirements.lock", "run"]


def test_the_tests_get_the_dev_group_and_what_follows(project, monkeypatch):
    monkeypatch.setattr(bootstrap.os, "chdir", lambda folder: project.append(["cd", Path(folder).name]))
    bootstrap.main(["test", "tests/radio", "-q"])
    assert project[-1] == ["run", "pytest", "-n", "2", "tests/radio", "-q"]
    assert [command[-1] for command in project if "--requirement" in command] == [
        "requirements.lock",
        "requirements-dev.lock",
    ]


def test_without_ensurepip_the_environment_is_filled_from_outside(project, monkeypatch):
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(bootstrap.subprocess, "run", lambda *_, **__: subprocess.CompletedProcess([], 1))
    bootstrap.main(["run"])
    assert project[0] == ["-m", "venv", "--without-pip", ".venv"]
    assert project[1][:4] == ["-m", "pip", "--python", ".venv/bin/python"]


def test_where_everything_is_installed_nothing_is_made(project, tmp_path):
    (tmp_path / "requirements.lock").write_text("PyTest==0.0.1\nSQLAlchemy==0.1\n")
    bootstrap.main(["run"])
    assert project == [["run", "server.cli", "run"]]


def test_an_installed_package_hands_over_at_once(project, tmp_path):
    (tmp_path / "requirements.lock").unlink()
    bootstrap.main(["run"])
    assert project == [["run", "server.cli", "run"]]


def test_a_failed_step_stops_with_its_command():
    with pytest.raises(SystemExit) as stopped:
        bootstrap.call([sys.executable, "-c", "raise SystemExit(1)"])
    assert "This failed:" in stopped.value.code


def test_locks_pin_one_version_each_without_addresses():
    for lock in LOCKS:
        lines = [line for line in lock.read_text().splitlines() if not line.startswith("#")]
        assert len(lines) == len(bootstrap.named_in(lock))
        assert all(bootstrap.applies(marker) in (True, False) for _, marker in bootstrap.named_in(lock))
        assert "://" not in lock.read_text()
        assert len(set(lines)) == len(lines)


def pins():
    pinned = [
        Requirement(line)
        for lock in LOCKS
        for line in lock.read_text().splitlines()
        if line[:1] not in ("#", "")
    ]
    return {bootstrap.normal_name(one.name): next(iter(one.specifier)).version for one in pinned}


def test_locks_hold_what_the_project_asks_for():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    asked = [*project["project"]["dependencies"], *project["dependency-groups"]["dev"]]
    pinned = pins()
    for requirement in map(Requirement, asked):
        name = bootstrap.normal_name(requirement.name)
        assert name in pinned, name
        assert requirement.specifier.contains(pinned[name]), name
