"""The wheel: built from the project, installed by itself, started from somewhere else."""

import re
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import httpx
import pytest

ROOT = Path(__file__).resolve().parents[1]
NOT_OURS = {".git", ".venv", ".ruff_cache", ".mypy_cache", ".pytest_cache", ".hypothesis", "__pycache__"}
# Written in parts: a file that names one of these hosts must not be found here either.
REGISTRY_HOSTS = re.compile(
    "|".join(
        rf"{a}\.{b}"
        for a, b in (("pypi", "org"), ("pythonhosted", "org"), ("npmjs", "org"), ("debian", "org"))
    )
)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    return next(folder.glob("*.whl"))


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """The folder of commands of an environment that holds the wheel and, by reference, this one's libraries."""
    environment = tmp_path_factory.mktemp("empty")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", environment], check=True)
    paths = sysconfig.get_paths("venv", {"base": str(environment), "platbase": str(environment)})
    install = [
        sys.executable,
        "-m",
        "pip",
        "--python",
        environment,
        "install",
        "--no-deps",
        "--no-index",
        "--quiet",
    ]
    subprocess.run([*install, wheel], check=True)
    libraries = sysconfig.get_paths()
    (Path(paths["purelib"]) / "libraries.pth").write_text(f"{libraries['purelib']}\n{libraries['platlib']}\n")
    return Path(paths["scripts"])


def test_the_wheel_carries_what_is_not_python(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder in ("templates", "static", "migrations"):
        own = {
            f"server/_assets/{file.relative_to(ROOT).as_posix()}"
            for file in (ROOT / folder).rglob("*")
            if file.is_file() and not NOT_OURS & set(file.parts)
        }
        assert own
        assert own <= names
    assert {
        "server/radio/channels.csv",
        "server/radio/rule_sets.toml",
        "server/services/pass_phrase_words.txt",
        "server/locale/bandstand.pot",
    } <= names


def test_the_wheel_carries_nothing_else(wheel):
    folders = {name.split("/")[0] for name in zipfile.ZipFile(wheel).namelist()}
    assert {folder for folder in folders if not folder.endswith(".dist-info")} == {"server"}


def test_an_installed_bandstand_starts_from_another_folder(installed, tmp_path):
    """Its page, its static files and its migrations are found."""
    command = [installed / "bandstand", "run", "--data", "days", "--host", "127.0.0.1", "--port", "0"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=tmp_path, env={"PATH": ""}
    ) as process:
        try:
            said = "".join(iter(process.stdout.readline, "Stop with Ctrl-C.\n"))
            address = re.search(r"http://127\.0\.0\.1:\d+", said)[0]
            page = httpx.get(f"{address}/sign-in")
            style = httpx.get(address + re.search(r'/static/css/frame\.css[^"]*', page.text)[0])
        finally:
            process.kill()
    assert page.status_code == 200
    assert style.status_code == 200
    assert (tmp_path / "days" / "bandstand.sqlite").is_file()


def test_an_installed_bandstand_plans_from_another_folder(installed, tmp_path):
    run = subprocess.run(
        [installed / "bandstand", "check", "R1", "R8"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={"PATH": ""},
    )
    assert run.returncode == 0, run.stderr
    assert "5658" in run.stdout


def committed_files():
    for file in ROOT.rglob("*"):
        if file.is_file() and not NOT_OURS & set(file.relative_to(ROOT).parts):
            yield file


def test_no_file_names_the_host_of_a_registry():
    naming = [
        file.name for file in committed_files() if REGISTRY_HOSTS.search(file.read_text(errors="ignore"))
    ]
    assert naming == []
