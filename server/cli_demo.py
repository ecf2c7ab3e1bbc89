"""`bandstand demo`: an invented club day to look at, in a data folder of its own."""

import argparse
from dataclasses import replace

from server.cli_run import add_settings_options, with_settings
from server.settings import Settings

FOLDER = "demo"


def add_demo_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser(
        "demo",
        help="serve an invented club day to look at",
        description="Make an invented club day of 18 pilots, plan and publish it, and serve its pages. "
        "It has a data folder of its own: your field days are not touched.",
    )
    add_settings_options(parser, "data", "host", "port", "certificate", "key")
    parser.set_defaults(run=with_settings(_demo))


def _demo(configured: Settings) -> None:
    # Imported here: see server/cli_run.py.
    from server.main import utc_now
    from server.services import access, clubs
    from server.services.demo import make_demo
    from server.serving import serve
    from server.storage.session import Database

    def prepare(database: Database, address: str) -> list[str]:
        print(
            "Opening the demonstration day. The first time it is planned, which takes some twenty seconds.",
            flush=True,
        )
        demo = make_demo(database, utc_now())
        with database.write() as session:
            pass_phrase = access.reset_pass_phrase(session, clubs.club_named(session, "").id or 0, utc_now())
        return [
            f"Channel plan:     {address}/days/{demo.code}/plan",
            f"Pass phrase:      {pass_phrase}",
            "                  for the organizer, who may do everything",
            f"Board:            {address}/board/{demo.code}",
            *(
                f"{f'{name} on a phone:':<18}{address}/slot/{token}"
                for name, token in demo.link_tokens.items()
            ),
            f"Heat sheet:       {address}/days/{demo.code}/heat-sheet",
        ]

    serve(replace(configured, data=configured.data / FOLDER), prepare)
