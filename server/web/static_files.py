"""Static files, and sheaves of them. Under the hash of its content a file is kept for good, else asked for anew.

A sheaf is several stylesheets or scripts in one answer: on a slow phone each further answer costs its own headers
and, where the browser has no connection left, a way there and back. Its fonts are named with their hash too.
"""

import hashlib
import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from starlette.datastructures import QueryParams
from starlette.responses import Response
from starlette.staticfiles import StaticFiles

from server import paths

FOR_GOOD = "public, max-age=31536000, immutable"
ASK_FIRST = "public, no-cache"

SHEAVES: Mapping[str, tuple[str, ...]] = {
    "css/frame.css": (
        "css/variables.css",
        "css/base.css",
        "css/forms.css",
        "css/tables.css",
        "css/notices.css",
        "css/figures.css",
        "css/print.css",
    ),
    "css/board_page.css": ("css/board.css", "css/line_board.css", "css/everybody_land.css"),
    "css/slot_page.css": ("css/slot.css", "css/everybody_land.css"),
    "js/frame.js": ("js/looks.js", "js/no_answer.js"),
    "js/live_page.js": ("js/morph.js", "js/live.js"),
    "js/slot_page.js": ("js/morph.js", "js/live.js", "js/alarm_sound.js"),
    "js/board_page.js": ("js/morph.js", "js/live.js", "js/board.js", "js/alarm_sound.js"),
}
"""By the name under which pages ask for a sheaf, the files in it, in their order."""

_TYPES = {".css": "text/css", ".js": "text/javascript"}
_FILE_BESIDE = re.compile(r'url\("\.\./([\w./-]+)"\)')


def versioned(name: str) -> str:
    """The address of a static file or a sheaf with the hash of its present content."""
    known = _hash_of(name)
    return f"/static/{name}?v={known}" if known else f"/static/{name}"


def content_of(name: str) -> bytes:
    """The content of a static file or a sheaf. Raises FileNotFoundError."""
    if name not in SHEAVES:
        return (paths.STATIC / name).read_bytes()
    text = "\n".join((paths.STATIC / part).read_text(encoding="utf-8") for part in SHEAVES[name])
    return _FILE_BESIDE.sub(lambda found: f'url("{versioned(found[1])}")', text).encode()


def content_hash(file: Path) -> str:
    status = file.stat()
    return _content_hash(file, status.st_mtime_ns, status.st_size)


def _hash_of(name: str) -> str:
    """Empty if there is no such file."""
    if name in SHEAVES:
        return hashlib.sha256(content_of(name)).hexdigest()[:12]
    file = paths.STATIC / name
    return content_hash(file) if file.is_file() else ""


@lru_cache(maxsize=512)
def _content_hash(file: Path, _changed_ns: int, _size_bytes: int) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()[:12]


class VersionedStaticFiles(StaticFiles):
    """A wrong or missing hash still gets the file, but is not kept: a file changed under a running server."""

    async def get_response(self, path: str, scope: Any) -> Response:
        name = Path(path).as_posix()
        if name not in SHEAVES or scope["method"] not in ("GET", "HEAD"):
            return await super().get_response(path, scope)
        response = Response(content_of(name), media_type=_TYPES[Path(name).suffix])
        return _kept(response, scope, _hash_of(name))

    def file_response(self, full_path: Any, stat_result: Any, scope: Any, status_code: int = 200) -> Response:
        response = super().file_response(full_path, stat_result, scope, status_code)
        return _kept(response, scope, content_hash(Path(full_path)))


def _kept(response: Response, scope: Any, present: str) -> Response:
    asked = QueryParams(scope["query_string"]).get("v")
    response.headers["Cache-Control"] = FOR_GOOD if asked == present else ASK_FIRST
    return response
