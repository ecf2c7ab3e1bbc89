"""`bandstand run` and `bandstand director reset`: the commands that work on the data file."""

import argparse
import sys
from collections.abc import Callable
from dataclasses import fields

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
    add_settings_options(parser, "data", "host", "port", "workers")
    parser.set_defaults(run=with_settings(_run))


def add_director_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("director", help="make a new pass phrase for the director")
    acts = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    reset = acts.add_parser(
        "reset", help="make a new pass phrase and sign everybody out", description=_reset.__doc__
    )
    add_settings_options(reset, "data")
    reset.set_defaults(run=with_settings(_reset))


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


def _reset(configured: Settings) -> None:
    """Make a new pass phrase for the director, print it, and sign every browser out."""
    from server.serving import reset_pass_phrase

    print(
        f"Pass phrase: {reset_pass_phrase(configured)}\nEverybody is signed out; the old pass phrase is void."
    )
