"""Static files. Under the hash of its content a file is kept for good, else asked for anew."""

import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

from starlette.datastructures import QueryParams
from starlette.responses import Response
from starlette.staticfiles import StaticFiles

from server import paths

FOR_GOOD = "public, max-age=31536000, immutable"
ASK_FIRST = "public, no-cache"


def versioned(name: str) -> str:
    """The address of a static file with the hash of its present content."""
    file = paths.STATIC / name
    return f"/static/{name}?v={content_hash(file)}" if file.is_file() else f"/static/{name}"


def content_hash(file: Path) -> str:
    status = file.stat()
    return _content_hash(file, status.st_mtime_ns, status.st_size)


@lru_cache(maxsize=512)
def _content_hash(file: Path, _changed_ns: int, _size_bytes: int) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()[:12]


class VersionedStaticFiles(StaticFiles):
    """A wrong or missing hash still gets the file, but is not kept: a file changed under a running server."""

    def file_response(self, full_path: Any, stat_result: Any, scope: Any, status_code: int = 200) -> Response:
        response = super().file_response(full_path, stat_result, scope, status_code)
        asked = QueryParams(scope["query_string"]).get("v")
        is_present = asked == content_hash(Path(full_path))
        response.headers["Cache-Control"] = FOR_GOOD if is_present else ASK_FIRST
        return response
