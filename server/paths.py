"""Where Bandstand's own files lie: beside the package in a work tree, inside it in an installed wheel."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent
_INSTALLED = _PACKAGE / "_assets"

ASSETS = _INSTALLED if _INSTALLED.is_dir() else _PACKAGE.parent
TEMPLATES = ASSETS / "templates"
STATIC = ASSETS / "static"
MIGRATIONS = ASSETS / "migrations"
