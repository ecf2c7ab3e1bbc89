"""Options of the command line that are numbers: one table, one way to refuse."""

import argparse
import math
from dataclasses import dataclass

from server.allocator.problem import MOST_PILOTS_IN_A_HEAT
from server.services.channel_checks import COMMAND_LINE
from server.services.faults import Fault, FaultyInputError, shown
from server.services.gear import ASSUMED_POWER_MW, HIGHEST_POWER_MW, LOWEST_POWER_MW


@dataclass(frozen=True)
class NumberOption:
    """`name` is that of the planner's problem, "time_limit_s", and the flag is "--time-limit".

    The text is read here and not by argparse, so that a wrong number is refused like a wrong cell of a file.
    """

    name: str
    flag: str
    lowest: float
    highest: float
    default: float
    help: str
    is_whole: bool = True

    def add_to(self, parser: argparse.ArgumentParser) -> None:
        words = f"{self.help} (default {self.default:g})"
        parser.add_argument(
            self.flag, dest=self.name, metavar=self.flag[2:].upper().replace("-", "_"), help=words
        )

    def value_in(self, args: argparse.Namespace) -> float | int | None:
        """What was given, None where nothing was. Raises FaultyInputError."""
        text: str | None = getattr(args, self.name)
        if text is None:
            return None
        number = _number(text)
        if not self.lowest <= number <= self.highest or (self.is_whole and not number.is_integer()):
            kind = "a whole number" if self.is_whole else "a number"
            cure = f"give {kind} from {self.lowest:g} to {self.highest:g}"
            problem = f"“{shown(text)}” cannot be used"
            raise FaultyInputError([Fault(COMMAND_LINE, 1, self.flag, text, problem, cure)])
        return int(number) if self.is_whole else number


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


PLAN_OPTIONS: tuple[NumberOption, ...] = (
    NumberOption("aircraft", "--aircraft", 1, MOST_PILOTS_IN_A_HEAT, 6, "how many fly at once"),
    NumberOption("rounds", "--rounds", 1, 50, 1, "how often through the roster"),
    NumberOption("node_limit", "--node-limit", 1, 10**12, 20_000_000, "search nodes of each exact search"),
    NumberOption(
        "time_limit_s", "--time-limit", 0.001, 86400, 10, "seconds after which to stop", is_whole=False
    ),
    NumberOption("seed", "--seed", 0, 2**31 - 1, 1, "where the search starts"),
)
POWER = NumberOption(
    "power_mw",
    "--power",
    LOWEST_POWER_MW,
    HIGHEST_POWER_MW,
    ASSUMED_POWER_MW,
    "of every transmitter, mW",
    is_whole=False,
)
