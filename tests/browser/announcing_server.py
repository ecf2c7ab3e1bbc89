"""The application with `/announce/{field_day_id}`, which tells its pages what a test wrote into the data file."""

import argparse
from dataclasses import replace
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from server.main import create_app
from server.services.live import announce
from server.settings import Settings
from server.web.dependencies import public


def with_announcements(app: FastAPI) -> FastAPI:
    @app.get("/announce/{field_day_id}")
    @public
    def tell(field_day_id: int) -> None:
        announce(app.state.database, app.state.hub, field_day_id)

    return app


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--data", type=Path)
    parser.add_argument("--host")
    parser.add_argument("--port", type=int)
    options = parser.parse_args()
    app = with_announcements(create_app(replace(Settings.from_environment(), data=options.data)))
    uvicorn.run(app, host=options.host, port=options.port, log_level="warning")


if __name__ == "__main__":
    main()
