from fastapi import APIRouter

from server import __version__
from server.web.dependencies import DatabaseOfApp, public

router = APIRouter()


@router.get("/health")
@public
def health(database: DatabaseOfApp) -> dict[str, str]:
    """For whoever watches the server: it answers and can read its data."""
    with database.read() as session:
        database.order(session, field_day_id=0)
    return {"status": "ok", "version": __version__}
