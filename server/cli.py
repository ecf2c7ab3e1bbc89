"""The commands of Bandstand. The parser of each names the function that runs it and gives the exit status."""

import argparse
import sys
from collections.abc import Sequence

from server import __version__
from server.cli_demo import add_demo_parser
from server.cli_plan import add_check_parser, add_plan_parser
from server.cli_run import add_director_parser, add_run_parser


def main(arguments: Sequence[str] | None = None) -> int:
    chosen = _parser().parse_args(arguments)
    return int(chosen.run(chosen))


def _parser() -> argparse.ArgumentParser:
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
    add_director_parser(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
