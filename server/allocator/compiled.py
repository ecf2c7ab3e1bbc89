"""Where compiled code is kept: numba needs a folder it can write to, also when the program's own is not."""

import os
import tempfile
from pathlib import Path

from platformdirs import user_cache_path


def _writable_cache() -> str:
    folder = user_cache_path("bandstand") / "compiled"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return str(folder)
    except OSError:
        return str(Path(tempfile.gettempdir()) / "bandstand-compiled")


os.environ.setdefault("NUMBA_CACHE_DIR", _writable_cache())

from numba import njit  # noqa: E402 (numba reads the folder when it is imported)

compiled = njit(cache=True, nogil=True, error_model="numpy")
"""Decorator of every compiled function. No fast-math: answers must be the same on every machine."""
