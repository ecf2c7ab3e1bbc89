"""Where compiled code is kept: numba needs a folder it can write to, also when the program's own is not.

A function is compiled together with those it calls, but numba looks only at the file it stands in to see whether
kept code is still right. So the folder is named after what all files of this package say.
"""

import hashlib
import os
import tempfile
from pathlib import Path

from platformdirs import user_cache_path


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

from numba import njit  # noqa: E402 (numba reads the folder when it is imported)

compiled = njit(cache=True, nogil=True, error_model="numpy")
"""Decorator of every compiled function. No fast-math: answers must be the same on every machine."""

compiled_inline = njit(cache=True, nogil=True, error_model="numpy", forceinline=True)
"""The same for a part of a longer function: to hand over all its arrays would cost more than the part."""
