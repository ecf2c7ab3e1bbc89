"""`python3 -m server …` in a fresh copy of the project: makes an environment, fills it, hands over.

    python3 -m server test …         the tests; what follows goes to pytest
    python3 -m server dev MODULE …   a tool of the dev group, such as `dev ruff check .`
    python3 -m server …              a command of Bandstand (`server/cli.py`)

Standard library only, and no syntax newer than what an old Python can read: its first duty is to say that it is
too old. The environment is `.venv` beside the project, filled with the versions pinned in `requirements.lock`
(and `requirements-dev.lock` for the tests); a second start finds it filled and hands over at once. Where all that
is needed is installed already, nothing is made.
"""

import hashlib
import importlib.util
import os
import re
import subprocess
import sys

LOWEST_PYTHON = (3, 11)
PROJECT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
ENVIRONMENT = os.path.join(PROJECT, ".venv")
LOCK = os.path.join(PROJECT, "requirements.lock")
DEV_LOCK = os.path.join(PROJECT, "requirements-dev.lock")


def main(arguments: list) -> "str | int":
    if sys.version_info < LOWEST_PYTHON:
        lowest, this = (".".join(map(str, version[:2])) for version in (LOWEST_PYTHON, sys.version_info))
        return f"Bandstand needs Python {lowest} or newer; this one is {this}. Start it with a newer python3."
    if arguments[:1] == ["test"]:
        arguments = ["dev", "pytest", "-n", "2", *arguments[1:]]
    if arguments[:1] == ["dev"] and len(arguments) > 1:
        os.chdir(PROJECT)
        return hand_over(python_with(LOCK, DEV_LOCK), arguments[1:])
    return hand_over(python_with(LOCK), ["server.cli", *arguments])


def python_with(*locks: str) -> str:
    """A Python that has what the locks name: this one, or that of the environment, filled first if need be."""
    if not os.path.exists(LOCK) or all(has_all_of(lock) for lock in locks):
        return sys.executable
    python = python_of_environment()
    if not os.path.exists(python):
        make_environment(python)
    for lock in locks:
        fill_environment(python, lock)
    return python


def has_all_of(lock: str) -> bool:
    """Whether this Python has every package of the lock, in whatever version its owner chose."""
    from importlib import metadata  # not in the oldest Pythons that must still be told that they are too old

    present = {normal_name(found.metadata["Name"] or "") for found in metadata.distributions()}
    return {name for name, marker in named_in(lock) if applies(marker)} <= present


def named_in(lock: str) -> list:
    """The names in a lock, each with the marker of the systems it is for."""
    with open(lock, encoding="utf-8") as lines:
        found = [re.match(r"([A-Za-z0-9._-]+)==[^ ;]+(?: ; (.+))?$", line.strip()) for line in lines]
    return [(normal_name(line.group(1)), line.group(2) or "") for line in found if line]


def normal_name(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def applies(marker: str) -> bool:
    """Our locks know two markers only: for Windows, and for all others."""
    is_windows = sys.platform == "win32"
    return {"": True, 'sys_platform == "win32"': is_windows, 'sys_platform != "win32"': not is_windows}[
        marker
    ]


def python_of_environment() -> str:
    if sys.platform == "win32":
        return os.path.join(ENVIRONMENT, "Scripts", "python.exe")
    return os.path.join(ENVIRONMENT, "bin", "python")


def make_environment(python: str) -> None:
    say(f"Making an environment in {ENVIRONMENT}")
    # Some systems ship venv without what it needs to put pip into an environment.
    without_pip = [] if importlib.util.find_spec("ensurepip") else ["--without-pip"]
    call([sys.executable, "-m", "venv", *without_pip, ENVIRONMENT])
    pip(python, "--upgrade", "pip")


def fill_environment(python: str, lock: str) -> None:
    stamp = os.path.join(ENVIRONMENT, os.path.basename(lock) + ".installed")
    with open(lock, "rb") as content:
        wanted = hashlib.sha256(content.read()).hexdigest()
    if os.path.exists(stamp):
        with open(stamp, encoding="ascii") as noted:
            if noted.read() == wanted:
                return
    say(f"Installing what {os.path.basename(lock)} names; this takes a minute, once")
    pip(python, "--requirement", lock)
    with open(stamp, "w", encoding="ascii") as note:
        note.write(wanted)


def pip(python: str, *what: str) -> None:
    """Run pip for the environment: its own, or this Python's where the environment has none."""
    has_own = subprocess.run([python, "-c", "import pip"], stderr=subprocess.DEVNULL).returncode == 0
    start = [python, "-m", "pip"] if has_own else [sys.executable, "-m", "pip", "--python", python]
    call([*start, "install", "--quiet", "--disable-pip-version-check", *what])


def call(command: list) -> None:
    if subprocess.run(command).returncode != 0:
        sys.exit(
            f"This failed: {' '.join(command)}\n"
            "Its own message stands above. It needs a network once, so install before the field day.\n"
            "Where pip or venv is missing, install python3-pip and python3-venv with the system's package manager."
        )


def hand_over(python: str, module_and_arguments: list) -> int:
    command = [python, "-m", *module_and_arguments]
    known = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = PROJECT + os.pathsep + known if known else PROJECT
    if sys.platform != "win32":
        sys.stdout.flush()
        sys.stderr.flush()
        os.execv(python, command)
    # On Windows exec would give the prompt back while the program goes on.
    try:
        return subprocess.run(command).returncode
    except KeyboardInterrupt:
        return 130


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
