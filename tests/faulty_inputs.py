"""Inputs that cannot be used, each with what a message about it has to hold. One list, for every way in."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

ROSTER = "callsign,tunes\nWren,A B E F R\nOtter,R\n"
HEADER = "callsign,tunes,receives,power_mw,antenna,pin,apart,spotter,after,before,heat\n"
PLAN = ("plan", "roster.csv")
WITH_SITE = (*PLAN, "--site", "site.toml")
WITH_HEATS = (*PLAN, "--heats", "heats.csv")


@dataclass(frozen=True)
class Faulty:
    """Files to write and a command to run; what the one line that is looked for must hold.

    place  file, line and column as they are printed
    text   the offending text
    cure   part of what would be right
    """

    name: str
    place: str
    text: str
    cure: str
    roster: str | bytes | None = ROSTER
    site: str | bytes | None = None
    heats: str | bytes | None = None
    command: tuple[str, ...] = PLAN
    prepare: Callable[[Path], None] = field(default=lambda folder: None)

    def write(self, folder: Path) -> None:
        for name, content in (
            ("roster.csv", self.roster),
            ("site.toml", self.site),
            ("heats.csv", self.heats),
        ):
            if content is not None:
                data = content.encode() if isinstance(content, str) else content
                (folder / name).write_bytes(data)
        self.prepare(folder)


def row(**cells: str) -> str:
    names = HEADER.strip().split(",")
    usual = {"callsign": "Wren", "tunes": "R"} | cells
    return HEADER + ",".join(usual.get(name, "") for name in names) + "\n"


def in_roster(name: str, place: str, text: str, cure: str, roster: str | bytes | None) -> Faulty:
    return Faulty(name, f"roster.csv:{place}", text, cure, roster=roster)


def in_site(name: str, place: str, text: str, cure: str, site: str | bytes) -> Faulty:
    return Faulty(name, f"site.toml:{place}", text, cure, site=site, command=WITH_SITE)


def in_heats(name: str, place: str, text: str, cure: str, heats: str) -> Faulty:
    return Faulty(name, f"heats.csv:{place}", text, cure, heats=heats, command=WITH_HEATS)


def on_line(name: str, column: str, text: str, cure: str, *command: str) -> Faulty:
    return Faulty(name, f"command line:1: {column}", text, cure, command=command)


FILES = [
    in_roster("missing file", "1: whole file", "roster.csv", "check its name", None),
    Faulty(
        "folder instead of a file",
        "roster.csv:1: whole file",
        "roster.csv",
        "give the file inside it",
        roster=None,
        prepare=lambda folder: (folder / "roster.csv").mkdir(),
    ),
    in_roster("empty file", "1: whole file", "", "header row such as callsign,tunes", b""),
    in_roster("blank lines only", "1: whole file", "", "header row such as callsign,tunes", "\n \n\n"),
    in_roster("separators only", "1: whole file", "", "header row", ";;\n;;\n"),
    in_roster("byte order mark only", "1: whole file", "", "header row", b"\xef\xbb\xbf"),
    in_roster("header only", "1: whole file", "callsign, tunes", "one pilot a line", "callsign,tunes\n"),
    in_roster("UTF-16 with its mark", "1: whole file", "ff fe", "CSV UTF-8", ROSTER.encode("utf-16")),
    in_roster("UTF-16 without a mark", "1: character 2", "c", "CSV UTF-8", ROSTER.encode("utf-16-le")),
    in_roster(
        "cp1252", "3: character 3", "Zo\\xeb", "CSV UTF-8", "callsign,tunes\nWren,R\nZoë,R\n".encode("cp1252")
    ),
    in_roster("NUL byte", "2: character 3", "Wr\\x00en", "CSV UTF-8", b"callsign,tunes\nWr\0en,R\n"),
    in_roster("a picture", "1: character 1", "\\x89PNG", "CSV UTF-8", b"\x89PNG\r\n\x1a\n\xff\xd8\xfe"),
    in_roster("larger than any roster", "1: whole file", "roster.csv", "roster only", b"x" * 5_000_001),
]

TABLES = [
    in_roster(
        "no callsign column", "1: callsign", "name, tunes", "add a column callsign", "name,tunes\nA,R\n"
    ),
    in_roster(
        "no tunes column", "1: tunes", "callsign, name", "add a column tunes", "callsign,name\nWren,W\n"
    ),
    in_roster("no header", "1: callsign", "Wren, R", "the header is the first row", "Wren,R\nOtter,R\n"),
    in_roster(
        "column twice",
        "1: tunes",
        "callsign, tunes, Tunes",
        "keep one of them",
        "callsign,tunes,Tunes\nWren,R,R\n",
    ),
    in_roster(
        "quote that does not end",
        "3: whole file",
        '"Otter,R',
        "end the cell",
        'callsign,tunes\nWren,R\n"Otter,R\n',
    ),
    in_roster(
        "text after a quote", "2: whole file", '"Wren"x,R', "end the cell", 'callsign,tunes\n"Wren"x,R\n'
    ),
    in_roster("surplus cells", "2: cell 3", "E5, E6", "in quotes", "callsign,tunes\nWren,E1-E3,E5,E6\n"),
    in_roster(
        "ten thousand rows",
        "502: whole file",
        "10000 pilots",
        "split it",
        "callsign,tunes\n" + "".join(f"Pilot {number},R\n" for number in range(10_000)),
    ),
    Faulty(
        "unknown column where that is forbidden",
        "roster.csv:1: shirt size",
        "shirt size",
        "leave it out",
        roster="callsign,tunes,shirt size\nWren,R,M\n",
        command=(*PLAN, "--strict"),
    ),
]

CALLSIGNS = [
    in_roster("no callsign", "2: callsign", "missing", "1 to 24 characters", row(callsign="")),
    in_roster("very long callsign", "2: callsign", "x" * 60, "shorten it", row(callsign="x" * 5000)),
    *(
        in_roster(
            f"callsign as a formula {start}",
            "2: callsign",
            f"{start}SUM(A1)",
            "start it with",
            row(callsign=f"{start}SUM(A1)"),
        )
        for start in "=+-@"
    ),
    in_roster("hidden character", "2: callsign", "Wr\\u200ben", "type it again", row(callsign="Wr\u200ben")),
    in_roster(
        "callsign twice", "3: callsign", "Wren", "another callsign", "callsign,tunes\nWren,R\nWren,F\n"
    ),
    in_roster(
        "callsign twice but for case",
        "3: callsign",
        "wREN",
        "another callsign",
        "callsign,tunes\nWren,R\nwREN,F\n",
    ),
    in_roster(
        "callsign twice but for composition",
        "3: callsign",
        "Zoe\u0308",
        "another",
        "callsign,tunes\nZo\u00eb,R\nZoe\u0308,F\n",
    ),
]

GEAR = [
    in_roster("no tunes", "2: tunes", "no channel is listed", "A B E F R", row(tunes="")),
    in_roster("unknown band", "2: tunes", "Q", "the bands are A B E F R L", row(tunes="A Q")),
    in_roster("unknown channel", "2: tunes", "R9", "write R1 to R8", row(tunes="R9")),
    in_roster("reversed range of channels", "2: tunes", "R8-R1", "write R1-R8", row(tunes="R8-R1")),
    in_roster("reversed range of MHz", "2: tunes", "5875-5725", "write 5725-5875", row(tunes="5875-5725")),
    in_roster("empty range of MHz", "2: tunes", "5801-5804", "widen the range", row(tunes="5801-5804")),
    in_roster("MHz far away", "2: tunes", "2400", "5300 to 6000", row(tunes="2400")),
    in_roster("channels as a formula", "2: tunes", "=R1", "write bands", row(tunes="=R1")),
    in_roster(
        "goggles without a common channel",
        "2: receives",
        "Wren's goggles cannot show any",
        "both lists",
        row(receives="F1"),
    ),
    in_roster("negative power", "2: power_mw", "-25", "write mW", row(power_mw="-25")),
    in_roster("power that is no number", "2: power_mw", "nan", "write mW", row(power_mw="nan")),
    in_roster("infinite power", "2: power_mw", "inf", "write mW", row(power_mw="25 inf")),
    in_roster("unknown antenna", "2: antenna", "dipole", "rhcp, lhcp or linear", row(antenna="dipole")),
    in_roster("very long text", "2: tunes", "R R R", "shorten it", row(tunes="R " * 300)),
]

WISHES = [
    in_roster("pin outside the gear", "2: pin", "F1", "pin a channel", row(pin="F1")),
    in_roster("apart from a stranger", "2: apart", "Oter", "callsign of the roster", row(apart="Oter")),
    in_roster("apart from oneself", "2: apart", "Wren", "other pilots", row(apart="wren")),
    in_roster("own spotter", "2: spotter", "Wren", "beside the pilot", row(spotter="wren")),
    in_roster("heat that is no number", "2: heat", "first", "write 1", row(heat="first")),
    in_roster("heat nought", "2: heat", "0", "write 1", row(heat="0")),
    in_roster(
        "after and before reversed",
        "2: before",
        "after 3 and before 2",
        "earlier heat",
        row(after="3", before="2"),
    ),
    in_roster("heat outside its bounds", "2: heat", "heat 1", "change one", row(heat="1", after="2")),
]

SITES = [
    in_site("not TOML", "1: character 8", "near_m 5", "name = value", "near_m 5\n"),
    in_site("site in cp1252", "1: character 11", "Zo\\xeb", "CSV UTF-8", "# Wiese Zo\xeb\n".encode("cp1252")),
    in_site("unknown setting", "1: nearm", "nearm", "write near_m", "nearm = 8\n"),
    in_site("text for a distance", "1: near_m", "eight", "give a number", 'near_m = "eight"\n'),
    in_site("distance that is no number", "1: near_m", "nan", "give a number", "near_m = nan\n"),
    in_site("infinite distance", "2: far_m", "inf", "give a number", "near_m = 8\nfar_m = inf\n"),
    in_site("near beyond far", "2: far_m", "50", "at least near_m (100 m)", "near_m = 100\nfar_m = 50\n"),
    in_site("unknown allowed band", "1: allowed_bands", "Q", "the bands are", 'allowed_bands = "A Q"\n'),
    in_site("no allowed band", "1: allowed_bands", "no channel is listed", "such as", "allowed_bands = []\n"),
    in_site("ban of nothing that exists", "1: bans", "R9", "write R1 to R8", 'bans = ["R9"]\n'),
    in_site("negative spacing", "1: minimum_spacing_mhz", "-1", "whole number", "minimum_spacing_mhz = -1\n"),
    in_site("broken rest", "1: rest_heats", "1.5", "whole number", "rest_heats = 1.5\n"),
    in_site("negative common power", "1: common_power_mw", "-25", "give mW", "common_power_mw = -25\n"),
    in_site("receiver that is no table", "1: receiver", "5", "write [receiver]", "receiver = 5\n"),
    in_site("unknown receiver setting", "2: receiver.iip3", "iip3", "iip3_dbm", "[receiver]\niip3 = -10\n"),
    in_site(
        "receiver setting out of range",
        "2: receiver.iip3_dbm",
        "99",
        "from -40 to 30",
        "[receiver]\niip3_dbm = 99\n",
    ),
    in_site("unknown rules", "2: rules.name", "Atlantis", "tern-meadow", '[rules]\nname = "Atlantis"\n'),
    in_site(
        "reversed range of rules",
        "2: rules.ranges",
        "5875-5725",
        "lower edge first",
        "[rules]\nranges = [[5875, 5725]]\n",
    ),
    in_site(
        "rules without ranges",
        "1: rules",
        "neither a name nor ranges",
        "ranges =",
        "[rules]\nlicence_needed = true\n",
    ),
]

HEATS = [
    in_heats(
        "heats without a callsign column",
        "1: callsign",
        "heat, pilot",
        "heat,callsign",
        "heat,pilot\n1,Wren\n",
    ),
    in_heats("heats for a stranger", "2: callsign", "Oter", "write Otter", "heat,callsign\n1,Oter\n"),
    in_heats("pilot twice in one heat", "3: callsign", "wren", "keep one", "heat,callsign\n1,Wren\n1,wren\n"),
    in_heats("heat without a number", "2: heat", "final", "write 1", "heat,callsign\nfinal,Wren\n"),
    in_heats("gap in the heats", "1: heat", "1 3", "without a gap", "heat,callsign\n1,Wren\n3,Otter\n"),
    in_heats("no heats", "1: whole file", "heat, callsign", "1,Wren", "heat,callsign\n"),
]

OPTIONS = [
    on_line("aircraft in words", "--aircraft", "six", "from 1 to 12", *PLAN, "--aircraft", "six"),
    on_line("no aircraft", "--aircraft", "0", "from 1 to 12", *PLAN, "--aircraft", "0"),
    on_line("half a round", "--rounds", "1.5", "whole number", *PLAN, "--rounds", "1.5"),
    on_line("time that is no number", "--time-limit", "nan", "a number from", *PLAN, "--time-limit", "nan"),
    on_line("endless time", "--time-limit", "inf", "a number from", *PLAN, "--time-limit", "inf"),
    on_line("unknown channel to check", "CHANNELS", "R9", "write R1 to R8", "check", "R1", "R9"),
    on_line(
        "too many channels to check",
        "CHANNELS",
        "40 channels",
        "at most 12",
        "check",
        "A",
        "B",
        "E",
        "F",
        "R",
    ),
    on_line(
        "no power to check with", "--power", "0", "from 0.01 to 5000", "check", "R1", "R2", "--power", "0"
    ),
    on_line(
        "power that is no number to check with", "--power", "nan", "a number", "check", "R1", "--power", "nan"
    ),
]

FAULTY = [*FILES, *TABLES, *CALLSIGNS, *GEAR, *WISHES, *SITES, *HEATS, *OPTIONS]
