"""Lists every sentence for translators: `python3 -m server dev tests.catalogue` writes bandstand.pot."""

import os
from pathlib import Path

from babel.messages.frontend import CommandLineInterface

ROOT = Path(__file__).resolve().parents[1]
LIST = ROOT / "server" / "locale" / "bandstand.pot"
KEYWORDS = ("_", "ngettext:1,2", "marked", "said")


def write_list(file: Path) -> None:
    """Without locations and in order, so that two changes beside each other do not meet in it."""
    options = ["--no-location", "--sort-output", "--omit-header", "--mapping-file=pyproject.toml"]
    options += [f"--keywords={one}" for one in KEYWORDS]
    before = Path.cwd()
    os.chdir(ROOT)
    try:
        CommandLineInterface().run(["pybabel", "--quiet", "extract", *options, f"--output-file={file}", "."])
    finally:
        os.chdir(before)


if __name__ == "__main__":
    LIST.parent.mkdir(exist_ok=True)
    write_list(LIST)
