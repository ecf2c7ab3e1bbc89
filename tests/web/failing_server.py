"""`bandstand run` with an address that fails, in words and statements that hold what no log may."""

import sys

from fastapi import FastAPI
from sqlalchemy import text

from server import cli, serving
from server.settings import Settings
from server.web.dependencies import public

whole = serving.warming_app


def with_faults(configured: Settings) -> FastAPI:
    app = whole(configured)

    @app.get("/slot/{token}/fails")
    @public
    def fails(token: str, how: str) -> None:
        if how == "in words":
            raise RuntimeError(f"cannot show {token} at /slot/{token}")
        with app.state.database.read() as session:
            session.execute(
                text("SELECT 1 FROM pilot WHERE link_token = :token AND none = 1"), {"token": token}
            )

    return app


if __name__ == "__main__":
    serving.warming_app = with_faults
    sys.exit(cli.main())
