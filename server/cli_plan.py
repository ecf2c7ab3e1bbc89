"""`bandstand plan` and `bandstand check`: from files to a plan at a terminal, without a server or a database.

Standard output has the result and nothing else; notices and faults go to standard error.
"""

import argparse
import os
import sys
import traceback
from collections.abc import Callable
from dataclasses import replace
from enum import IntEnum
from functools import partial
from io import TextIOWrapper
from pathlib import Path
from typing import Any, TypeVar

from server.allocator.errors import Cancelled, ProblemError
from server.allocator.plan import DayPlan
from server.allocator.solve import how_many_can_fly, plan_day
from server.cli_options import PLAN_OPTIONS, POWER
from server.services import channel_checks, report_texts, reports
from server.services.channel_checks import COMMAND_LINE
from server.services.csv_files import read_file
from server.services.day_problems import Brief, brief
from server.services.faults import WHOLE_FILE, Fault, FaultyInputError
from server.services.gear import ASSUMED_POWER_MW
from server.services.heats_files import read_heats
from server.services.power_words import power_warnings
from server.services.report_assumptions import assumptions_of, site_assumptions
from server.services.roster import COLUMNS
from server.services.roster_files import Roster, read_roster
from server.services.site_files import read_site
from server.services.site_settings import SiteSettings
from server.services.slot_facts import facts_of, slot_warnings

MINUTES_A_HEAT = 5.0
"""What a heat takes where nobody has said: three minutes in the air, and changing over."""

_Part = TypeVar("_Part")


class Exit(IntEnum):
    """What the status of the process says; NO_PLAN comes with a report all the same."""

    PLANNED = 0
    NO_PLAN = 1
    BAD_INPUT = 2
    STOPPED = 3
    OUR_FAULT = 70


def add_plan_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """`bandstand plan`; the parsed arguments carry the handler as `run`."""
    parser = subparsers.add_parser(
        "plan",
        help="plan heats, channels and powers for a roster",
        description="Plan heats, channels and powers for the pilots of a CSV file.",
        epilog=f"Columns of the roster: {', '.join(COLUMNS)}. "
        "Exit status: 0 planned, 1 no plan or do not fly it, 2 bad input, 3 stopped, 70 a fault of ours.",
        allow_abbrev=False,
    )
    parser.add_argument("roster", metavar="ROSTER.csv", help="one pilot a line; needs callsign and tunes")
    parser.add_argument("--site", metavar="SITE.toml", help="distances, channels, receivers and rules")
    parser.add_argument("--heats", metavar="FILE.csv", help="given heats: heat,callsign")
    parser.add_argument("--one-heat", action="store_true", help="the whole roster is one heat")
    parser.add_argument("--compare", action="store_true", help="show how many can fly at once")
    parser.add_argument("--strict", action="store_true", help="refuse columns that are not known")
    for option in PLAN_OPTIONS:
        option.add_to(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=plan_command)


def add_check_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """`bandstand check`; the parsed arguments carry the handler as `run`."""
    parser = subparsers.add_parser(
        "check",
        help="score a given set of channels",
        description="Score channels that are in the air together: margin, picture grade, causes, products.",
        epilog="Exit status: 0 scored, 2 bad input, 70 a fault of ours.",
        allow_abbrev=False,
    )
    parser.add_argument("channels", metavar="CHANNELS", nargs="+", help="such as R1 R3 F4 5800")
    parser.add_argument("--site", metavar="SITE.toml", help="distances, receivers and rules")
    POWER.add_to(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=check_command)


def plan_command(args: argparse.Namespace) -> int:
    return _guarded(_plan, args)


def check_command(args: argparse.Namespace) -> int:
    return _guarded(_check, args)


def _plan(args: argparse.Namespace) -> Exit:
    roster, asked, options = _asked(args)
    for notice in roster.notices:
        print(notice, file=sys.stderr)
    if sys.stderr.isatty():
        print(f"Planning {len(asked.problem.pilots)} pilots; Ctrl-C stops.", file=sys.stderr)
    assumptions = assumptions_of(asked.problem, asked.settings, options, roster.pilots)
    if args.compare and not asked.conflicts:
        compared = (how_many_can_fly(asked.problem, MINUTES_A_HEAT), asked.warnings, assumptions)
        _print(args, lambda: reports.compare_object(*compared), lambda: report_texts.compare_text(*compared))
        return Exit.PLANNED
    plan = DayPlan("infeasible", conflicts=asked.conflicts) if asked.conflicts else plan_day(asked.problem)
    facts = facts_of(plan, asked.problem)
    powers = power_warnings(plan.levels, plan.hot_transmitters, asked.problem.site)
    judged = slot_warnings(plan, asked.problem, asked.settings.rule_set)
    warnings = (*asked.warnings, *powers, *plan.warnings, *judged)
    result = (plan, facts, asked.labels, warnings, assumptions)
    _print(args, lambda: reports.plan_object(*result), lambda: report_texts.plan_text(*result))
    return Exit.PLANNED if plan.status in ("optimal", "feasible") else Exit.NO_PLAN


def _check(args: argparse.Namespace) -> Exit:
    reading = _Reading()
    settings = reading.site(args.site)
    power_mw = reading.part(lambda: POWER.value_in(args))
    reading.raise_faults()
    check = channel_checks.check_channels(" ".join(args.channels), power_mw or ASSUMED_POWER_MW, settings)
    assumptions = site_assumptions(settings)
    _print(
        args,
        lambda: channel_checks.check_object(check, assumptions),
        lambda: channel_checks.check_text(check, assumptions),
    )
    return Exit.PLANNED


def _asked(args: argparse.Namespace) -> tuple[Roster, Brief, frozenset[str]]:
    """The roster, the question, and the names of the options that were given. Raises FaultyInputError."""
    reading = _Reading()
    read: dict[str, Any] = {one.name: reading.part(partial(one.value_in, args)) for one in PLAN_OPTIONS}
    given = {name: value for name, value in read.items() if value is not None}
    roster = reading.roster(args.roster, args.strict)
    settings = reading.site(args.site)
    heats = reading.heats(args.heats, roster) if args.heats else None
    if args.heats and args.one_heat:
        reading.fault(
            COMMAND_LINE, "--heats", args.heats, "--heats and --one-heat exclude each other", "give one"
        )
    reading.raise_faults()
    settings = replace(
        settings, **{name: given.pop(name) for name in ("aircraft", "rounds") if name in given}
    )
    try:
        asked = brief(roster.pilots, settings, heats, one_heat=args.one_heat, **given)
    except ProblemError as error:
        reading.fault(args.heats or args.roster, WHOLE_FILE, "", error.problem, error.cure)
        raise FaultyInputError(reading.faults) from None
    flags = {"one_heat"} if args.one_heat else set()
    return roster, asked, frozenset(flags | {name for name, value in read.items() if value is not None})


class _Reading:
    """Reads one file and option after another and keeps every fault, so that all are told at once."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def part(self, read: Callable[[], _Part]) -> _Part | None:
        try:
            return read()
        except FaultyInputError as error:
            self.faults.extend(error.faults)
            return None

    def fault(self, file: str, column: str, text: str, problem: str, cure: str) -> None:
        self.faults.append(Fault(file, 1, column, text, problem, cure))

    def raise_faults(self) -> None:
        if self.faults:
            raise FaultyInputError(self.faults)

    def roster(self, file: str, strict: bool) -> Roster:
        data = self.part(lambda: read_file(file))
        roster = Roster(()) if data is None else read_roster(data, file, strict)
        self.faults.extend(roster.faults)
        return roster

    def site(self, file: str | None) -> SiteSettings:
        return (self.part(lambda: read_site(read_file(file), file)) if file else None) or SiteSettings()

    def heats(self, file: str, roster: Roster) -> tuple[tuple[str, ...], ...] | None:
        return self.part(lambda: read_heats(read_file(file), file, roster.known))


def _print(
    args: argparse.Namespace, as_object: Callable[[], dict[str, Any]], as_text: Callable[[], str]
) -> None:
    _write(reports.as_json(as_object()) + "\n" if args.json else as_text())


def _write(text: str) -> None:
    """A terminal of an old encoding gets escapes for what it cannot show, instead of nothing."""
    if isinstance(sys.stdout, TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
    sys.stdout.write(text)
    sys.stdout.flush()


def _guarded(work: Callable[[argparse.Namespace], Exit], args: argparse.Namespace) -> int:
    """The exit status of a command, every way in which it can end told in one line a fault."""
    try:
        return work(args)
    except FaultyInputError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        if args.json:
            _write(reports.as_json(reports.faults_object(error.faults)) + "\n")
        return Exit.BAD_INPUT
    except (Cancelled, KeyboardInterrupt) as error:
        print(f"Stopped before there was any plan{': ' if str(error) else ''}{error}.", file=sys.stderr)
        return Exit.STOPPED
    except BrokenPipeError:
        # Whoever read the result has seen enough; the next flush must not complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return Exit.PLANNED
    except Exception as error:
        *_, last = traceback.extract_tb(error.__traceback__)
        where = f"{Path(last.filename).name}:{last.lineno}"
        print(
            f"A fault of ours at {where}: {type(error).__name__}: {error}. Please report it.", file=sys.stderr
        )
        return Exit.OUR_FAULT
