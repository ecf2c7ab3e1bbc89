"""Where compiled code is kept: numba needs a folder it can write to, also when the program's own is not.

A function is compiled together with those it calls, but numba looks only at the file it stands in to see whether
kept code is still right. So the folder is named after what all files of this package say.
"""

import hashlib
import os
import shutil
import tempfile
import time
from functools import cache, partial
from pathlib import Path

from platformdirs import user_cache_path

UNUSED_DAYS = 30
"""After so many days without a start, the code kept for another version of the program is removed."""


@cache
def _sources() -> str:
    """A name for the code of this package as it is now."""
    texts = [file.read_bytes() for file in sorted(Path(__file__).parent.glob("*.py"))]
    return hashlib.sha256(b"\0".join(texts)).hexdigest()[:16]


def _writable_cache() -> str:
    folder = user_cache_path("bandstand") / "compiled" / _sources()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return str(folder)
    except OSError:
        return str(Path(tempfile.gettempdir()) / "bandstand-compiled" / _sources())


os.environ.setdefault("NUMBA_CACHE_DIR", _writable_cache())

# numba reads the folder when it is imported
from llvmlite.binding import get_host_cpu_name  # type: ignore[import-untyped]  # noqa: E402
from numba import __version__, njit  # noqa: E402

_kept = partial(njit, cache=True, nogil=True, error_model="numpy")
_part = partial(_kept, no_cpython_wrapper=True, no_cfunc_wrapper=True)

compiled = _kept()
"""Decorator of every compiled function. No fast-math: answers must be the same on every machine."""

compiled_part = _part()
"""The same for what only compiled functions call: to make it ready for others would take longer."""

compiled_close = _part(forceinline=True)
"""The same for a part of a longer function: to hand over all its arrays would cost more than the part."""

compiled_inside = _kept(inline="always")
"""The same for a part that is written out where it is called: one function compiles faster than two."""


def is_compiling() -> bool:
    """Whether functions are compiled at all: the tests of the tests run them as they are written."""
    return os.environ.get("NUMBA_DISABLE_JIT", "0") == "0"


def is_all_kept() -> bool:
    """Whether everything was compiled and kept before, for this program, processor and compiler."""
    return _mark().is_file()


def note_that_all_is_kept() -> None:
    """Remember it for the next start, and remove what is kept for versions that nobody has started for long."""
    try:
        _mark().touch()
        _remove_unused(Path(os.environ["NUMBA_CACHE_DIR"]), time.time() - UNUSED_DAYS * 86_400)
    except OSError:
        return  # then the next start looks for itself


def _mark() -> Path:
    return Path(os.environ["NUMBA_CACHE_DIR"]) / f"all-{_sources()}-{get_host_cpu_name()}-{__version__}"


def _remove_unused(own: Path, before: float) -> None:
    """Remove the folders beside our own that no start has touched since then, seconds since 1970."""
    if own.name != _sources():
        return  # a folder of somebody's choice: what is beside it is not ours
    os.utime(own)
    for folder in own.parent.iterdir():
        if folder.is_dir() and len(folder.name) == len(own.name) and folder.stat().st_mtime < before:
            shutil.rmtree(folder, ignore_errors=True)
