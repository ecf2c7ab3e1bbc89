"""The application on a clock that stands until it is set: `POST /clock/2026-05-16T09:30:00+00:00`.

It begins where `CLOCK_STARTS_AT` in the environment says. The director's session is TOKEN.
"""

import argparse
import os
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from server.main import create_app
from server.services import access
from server.services.roles import ORGANIZER
from server.settings import Settings
from server.web.dependencies import public
from tests.factories import make_signed_in

TOKEN = "token-of-the-director"
CLOCK_STARTS_AT = "SIMULATED_CLOCK_STARTS_AT"


class ScriptedClock:
    def __init__(self, starts_at: datetime) -> None:
        self.at = starts_at

    def __call__(self) -> datetime:
        return self.at


def with_clock(settings: Settings, clock: ScriptedClock) -> FastAPI:
    app = create_app(settings, clock)

    @app.post("/clock/{at}")
    @public
    def set_clock(at: datetime) -> None:
        clock.at = at

    with app.state.database.write() as session:
        if access.signed_in(session, TOKEN, clock()) is None:
            make_signed_in(session, TOKEN, ORGANIZER, at=clock(), expires_at=clock() + timedelta(days=1))
    return app


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--data", type=Path)
    parser.add_argument("--host")
    parser.add_argument("--port", type=int)
    options = parser.parse_args()
    clock = ScriptedClock(datetime.fromisoformat(os.environ[CLOCK_STARTS_AT]))
    app = with_clock(replace(Settings.from_environment(), data=options.data), clock)
    uvicorn.run(app, host=options.host, port=options.port, log_level="warning")


if __name__ == "__main__":
    main()
