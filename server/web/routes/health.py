"""For whoever watches the server: whether it lives, and whether it can do its work.

Some that watch ask for the head alone; the server leaves the body out.
"""

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from server import __version__
from server.services.readiness import Readiness
from server.web.dependencies import public

router = APIRouter()

NOT_KEPT = {"Cache-Control": "no-store"}


@router.head("/health", include_in_schema=False)
@router.get("/health")
@public
async def health() -> JSONResponse:
    """The process lives; nothing else is asked, so that a database which is away restarts nobody."""
    return JSONResponse({"status": "ok", "version": __version__}, headers=NOT_KEPT)


@router.head("/ready", include_in_schema=False)
@router.get("/ready")
@public
def ready(request: Request) -> JSONResponse:
    """Requests may be sent here; else status 503 with one word why not."""
    readiness: Readiness = request.app.state.readiness
    reason = readiness.why_not()
    if reason:
        return JSONResponse({"status": "not ready", "reason": reason}, 503, headers=NOT_KEPT)
    return JSONResponse({"status": "ready"}, headers=NOT_KEPT)
