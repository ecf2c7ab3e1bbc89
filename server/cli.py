"""The commands of Bandstand. The parser of each names the function that runs it and gives the exit status."""

import argparse
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from server import __version__

STOPPED = 130
"""What shells say of a program that Ctrl-C ended."""

STOPPED_BEFORE_A_PLAN = 3


def main(arguments: Sequence[str] | None = None) -> int:
    given = sys.argv[1:] if arguments is None else arguments
    with _ending_at_once(STOPPED_BEFORE_A_PLAN if given[:1] in (["plan"], ["check"]) else STOPPED):
        parser = _parser()
    chosen = parser.parse_args(given)
    try:
        return int(chosen.run(chosen))
    except KeyboardInterrupt:
        return STOPPED


@contextmanager
def _ending_at_once(status: int) -> Iterator[None]:
    """While modules load, Ctrl-C ends the process with this status and without a traceback.

    An exception would not do: compiled modules turn it into errors of their own.
    """
    try:
        before = signal.signal(signal.SIGINT, lambda *_: os._exit(status))
    except ValueError:  # signals belong to the main thread
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _parser() -> argparse.ArgumentParser:
    # Imported here, under the eye of `_ending_at_once`: the planner takes half a second to load.
    from server.cli_data import add_data_parsers
    from server.cli_demo import add_demo_parser
    from server.cli_plan import add_check_parser, add_plan_parser
    from server.cli_run import add_club_parser, add_organizer_parser, add_run_parser

    parser = argparse.ArgumentParser(
        prog="bandstand",
        description="Field-day frequency coordinator: a clean video channel for every FPV pilot.",
    )
    parser.add_argument("--version", action="version", version=f"bandstand {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    add_run_parser(commands)
    add_demo_parser(commands)
    add_plan_parser(commands)
    add_check_parser(commands)
    add_organizer_parser(commands)
    add_club_parser(commands)
    add_data_parsers(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
