"""Switching on beside those who fly: whose picture a transmitter on the ground would spoil."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from server.allocator.open_flying import Up, gear_of
from server.allocator.problem import DayProblem
from server.allocator.scoring import margins_db
from server.radio import decibels
from server.radio.grade import picture_grade
from server.radio.propagation import free_space_loss_db
from server.radio.site import Site

MOST_LOST_DB = 1.0
"""Of margin, by whoever flies, when somebody on the ground switches on."""

LEAST_GRADE_BESIDE = 3.5
"""Picture grade that everybody in the air keeps when somebody on the ground switches on."""


@dataclass(frozen=True)
class OnTheGround:
    """A transmitter that is on, or is to be, without flying; its power is what the set may come up with.

    is_near   it stands by the pilot line, and not in the pits
    """

    up: Up
    is_near: bool = False


def spoilt_by(
    ground: Sequence[OnTheGround], flying: Sequence[Up], problem: DayProblem, lost: Sequence[Up] = ()
) -> tuple[str, ...]:
    """Whose picture the transmitters on the ground spoil together.

    lost   down and still on, wherever they lie: heard as near, before and after

    Callsigns of those who would lose more than `MOST_LOST_DB` by all of `ground` or end below
    `LEAST_GRADE_BESIDE`; nobody: clear. What a margin has above the site's ample one is nobody's loss: the picture
    cannot look better.
    """
    if not flying:
        return ()
    ample_db = problem.site.ample_db
    heard = [*flying, *lost, *(one.up for one in ground)]
    quiet = len(flying) + len(lost)
    gear = gear_of(heard, problem)
    for place, one in enumerate(ground, start=quiet):
        if not one.is_near:
            gear.level_mw[:, place] *= decibels.power_ratio(-_farther_db(problem.site))
    mhz = [one.mhz for one in heard]
    before, _ = margins_db(gear, range(quiet), mhz[:quiet])
    after, _ = margins_db(gear, range(len(heard)), mhz)
    return tuple(
        one.pilot.callsign
        for one, was, becomes in zip(flying, before, after, strict=False)
        if min(was, ample_db) - min(becomes, ample_db) > MOST_LOST_DB
        or picture_grade(becomes) < LEAST_GRADE_BESIDE
    )


def worst_channel(
    newcomer: OnTheGround,
    channels_mhz: Iterable[int],
    ground: Sequence[OnTheGround],
    flying: Sequence[Up],
    problem: DayProblem,
    lost: Sequence[Up] = (),
) -> tuple[int, tuple[str, ...]] | None:
    """The channel on which a newcomer spoils the most pictures, the lowest of equals, and whose; None: on none.

    channels_mhz   what the transmitter can tune: it may be on any of them
    """
    found = []
    for mhz in sorted(set(channels_mhz)):
        there = replace(newcomer, up=replace(newcomer.up, mhz=mhz))
        spoilt = spoilt_by([*ground, there], flying, problem, lost)
        if spoilt:
            found.append((mhz, spoilt))
    return max(found, key=lambda one: len(one[1])) if found else None


def _farther_db(site: Site) -> float:
    """How much weaker a transmitter in the pits arrives than the same one flying near."""
    pit_db, near_db = free_space_loss_db([site.pit_m, site.near_m], site.receiver.reference_mhz)
    return float(pit_db - near_db)
