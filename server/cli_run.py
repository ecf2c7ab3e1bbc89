"""`bandstand run`, `organizer reset`, `club add` and `club list`: the commands that work on the data file."""

import argparse
import sys
from collections.abc import Callable
from dataclasses import fields
from functools import partial

from server import settings
from server.settings import SettingError, Settings

BAD_INPUT = 2

# The modules that serve are imported by the commands that need them: `bandstand plan` starts in half the time
# without the web framework and the database.


def add_run_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser(
        "run",
        help="serve the pages of your field days",
        description="Serve the pages of your field days to this machine and to phones on the same network.",
        epilog="Settings, as environment variables:\n" + settings.explained(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_settings_options(parser, "data", "host", "port", "workers", "certificate", "key")
    parser.set_defaults(run=with_settings(_run))


def add_organizer_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("organizer", help="make a new pass phrase for the organizer")
    acts = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    reset = acts.add_parser(
        "reset", help="make a new pass phrase and sign everybody out", description=_reset.__doc__
    )
    reset.add_argument(
        "--club", metavar="NAME", default="", help="whose organizer, where there are several clubs"
    )
    add_settings_options(reset, "data")
    reset.set_defaults(run=lambda chosen: with_settings(partial(_reset, club=chosen.club))(chosen))


def add_club_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("club", help="add a club, or list the clubs")
    acts = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    add = acts.add_parser(
        "add", help="add a club and print its organizer's pass phrase", description=_add.__doc__
    )
    add.add_argument("name", metavar="NAME", help="the club's name, as it stands at the sign-in")
    add_settings_options(add, "data")
    add.set_defaults(run=lambda chosen: with_settings(partial(_add, name=chosen.name))(chosen))
    listing = acts.add_parser("list", help="print the clubs' names", description=_list.__doc__)
    add_settings_options(listing, "data")
    listing.set_defaults(run=with_settings(_list))


def add_settings_options(parser: argparse.ArgumentParser, *names: str) -> None:
    """Options that win over the environment's settings of the same names."""
    for item in fields(Settings):
        if item.name in names:
            parser.add_argument(f"--{item.name}", metavar=item.name.upper(), help=item.metadata["meaning"])


def with_settings(command: Callable[[Settings], None]) -> Callable[[argparse.Namespace], int]:
    """The command as a parser's `run`: it gets the settings; what it raises for people is printed, status 2."""

    def run(chosen: argparse.Namespace) -> int:
        from server.serving import CannotServeError

        try:
            command(Settings.from_environment(options=vars(chosen)))
        except (SettingError, CannotServeError) as error:
            print(error, file=sys.stderr)
            return BAD_INPUT
        return 0

    return run


def _run(configured: Settings) -> None:
    from server.serving import serve

    serve(configured)


def _reset(configured: Settings, club: str) -> None:
    """Make a new pass phrase for the organizer, print it, and sign every browser of the club out."""
    from server.serving import reset_pass_phrase

    print(
        f"Pass phrase: {reset_pass_phrase(configured, club)}\n"
        "It is the organizer's. Everybody is signed out; the old pass phrase is void."
    )


def _add(configured: Settings, name: str) -> None:
    """Add a club, which sees only its own field days, and print its organizer's pass phrase."""
    from server.serving import add_club

    print(
        f"Pass phrase: {add_club(configured, name)}\nIt is the organizer's, shown only now, so write it down."
    )


def _list(configured: Settings) -> None:
    """Print the clubs' names, one a line, the first made first."""
    from server.serving import club_names

    print("\n".join(club_names(configured)))
