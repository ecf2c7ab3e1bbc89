from dataclasses import replace

import pytest

from server.allocator.problem import DayProblem
from server.allocator.switching_on import OnTheGround, spoilt_by, worst_channel
from server.radio.grade import picture_grade
from server.radio.interference import heat_margins
from server.radio.site import Site
from tests.allocator.ups import stations, up, worst_db

DAY = DayProblem((), aircraft=6)


def test_with_nobody_on_nobody_is_disturbed():
    assert spoilt_by([OnTheGround(up("Wren", 5800))], [], DAY) == ()


def loss_db(newcomer, on, site):
    """By the model at the near distance, the newcomer's power lowered by what the pits are farther."""
    weaker = replace(newcomer, power_mw=newcomer.power_mw * (site.near_m / site.pit_m) ** 2)
    before = [slot.margin_db for slot in heat_margins(stations(on), site).slots]
    after = [slot.margin_db for slot in heat_margins(stations([*on, weaker]), site).slots]
    return [was - becomes for was, becomes in zip(before, after, strict=False)]


@pytest.mark.parametrize(("pit_m", "disturbed"), [(46, ()), (40, ("Otter", "Rook"))])
def test_nobody_in_the_air_may_lose_more_than_a_decibel(pit_m, disturbed):
    site = Site(pit_m=pit_m, far_m=160)
    on, newcomer = [up("Otter", 5658), up("Rook", 5917)], up("Wren", 5790, 200.0)
    lost = loss_db(newcomer, on, site)
    assert all(loss > 1.0 for loss in lost) is bool(disturbed)
    assert spoilt_by([OnTheGround(newcomer)], on, replace(DAY, site=site)) == disturbed


def test_who_flies_alone_loses_nothing_that_can_be_seen():
    on = [up("Otter", 5658)]
    assert spoilt_by([OnTheGround(up("Wren", 5917))], on, DAY) == ()
    assert spoilt_by([OnTheGround(up("Wren", 5680))], on, DAY) == ("Otter",)


def test_nobody_in_the_air_may_end_below_specks():
    # Wren at the far end of the pits takes next to nothing; Rook's picture is bad enough before.
    far_pits = replace(DAY, site=Site(pit_m=2000))
    on = [up("Otter", 5658, 400.0), up("Rook", 5917, 25.0)]
    assert picture_grade(worst_db(on)) >= 3.5
    assert spoilt_by([OnTheGround(up("Wren", 5800))], on, far_pits) == ()
    on = [up("Otter", 5658, 1200.0), up("Rook", 5917, 25.0)]
    assert picture_grade(worst_db(on)) == 3.3
    assert spoilt_by([OnTheGround(up("Wren", 5800))], on, far_pits) == ("Rook",)


def test_by_the_pilot_line_it_is_heard_as_near():
    site = Site(pit_m=46, far_m=160)
    day, flying = replace(DAY, site=site), [up("Otter", 5658), up("Rook", 5917)]
    newcomer = up("Wren", 5790, 200.0)
    assert spoilt_by([OnTheGround(newcomer)], flying, day) == ()
    assert spoilt_by([OnTheGround(newcomer, is_near=True)], flying, day) == ("Otter", "Rook")


def test_what_several_take_together_counts():
    site = Site(pit_m=46, far_m=160)
    day, flying = replace(DAY, site=site), [up("Otter", 5658), up("Rook", 5917)]
    one, other = (OnTheGround(up(name, mhz, 200.0)) for name, mhz in (("Wren", 5790), ("Umber", 5788)))
    assert spoilt_by([one], flying, day) == spoilt_by([other], flying, day) == ()
    assert spoilt_by([one, other], flying, day) == ("Otter", "Rook")


def test_nobody_on_the_ground_is_a_victim_and_with_nobody_flying_there_is_none():
    ground = [OnTheGround(up("Wren", 5658)), OnTheGround(up("Umber", 5658))]
    assert spoilt_by(ground, [], DAY) == ()
    assert spoilt_by(ground, [up("Otter", 5917)], DAY) == ()


def test_what_is_lost_already_is_no_newcomers_fault():
    site = Site(pit_m=2000)
    day, flying = replace(DAY, site=site), [up("Otter", 5658), up("Rook", 5917)]
    lost, newcomer = [up("Umber", 5790, 25.0)], OnTheGround(up("Wren", 5800))
    quiet = [slot.margin_db for slot in heat_margins(stations(flying), site).slots]
    noisy = [slot.margin_db for slot in heat_margins(stations([*flying, *lost]), site).slots]
    assert max(was - becomes for was, becomes in zip(quiet, noisy, strict=False)) > 1.0
    assert spoilt_by([newcomer], flying, day, lost) == ()


def test_a_lost_one_that_leaves_too_bad_a_picture_holds_everybody_up():
    flying, lost = [up("Rook", 5917), up("Otter", 5658)], [up("Umber", 5662, 25.0)]
    newcomer = OnTheGround(up("Wren", 5800))
    assert spoilt_by([newcomer], flying, replace(DAY, site=Site(pit_m=2000)), lost) == ("Otter",)


def test_the_worst_channel_is_the_one_that_spoils_most_and_the_lowest_of_equals():
    flying = [up("Otter", 5658), up("Rook", 5695), up("Quill", 5917)]
    newcomer = OnTheGround(up("Wren", 5800))
    assert worst_channel(newcomer, (5917, 5658), [], flying, DAY) == (5658, ("Otter",))
    mhz, spoilt = worst_channel(newcomer, (5917, 5676), [], flying, DAY)
    assert (mhz, set(spoilt)) == (5676, {"Otter", "Rook"})


def test_there_is_no_worst_channel_where_none_spoils_anything():
    newcomer = OnTheGround(up("Wren", 5800))
    assert worst_channel(newcomer, (5800, 5917), [], [up("Otter", 5658)], DAY) is None
    assert worst_channel(newcomer, (5658,), [], [], DAY) is None


def test_those_on_the_ground_already_count_on_the_worst_channel_too():
    site = Site(pit_m=46, far_m=160)
    day, flying = replace(DAY, site=site), [up("Otter", 5658), up("Rook", 5917)]
    on, newcomer = [OnTheGround(up("Umber", 5788, 200.0))], OnTheGround(up("Wren", 5658, 200.0))
    assert worst_channel(newcomer, (5790,), [], flying, day) is None
    assert worst_channel(newcomer, (5790,), on, flying, day) == (5790, ("Otter", "Rook"))


def test_a_pilot_counts_with_what_is_lost_and_with_a_spare_too():
    flying, lost = [up("Otter", 5658)], [up("Wren", 5732, 200.0)]
    spare = OnTheGround(up("Wren", 5917))
    assert spoilt_by([spare], flying, DAY, lost) == ()
    assert spoilt_by([spare], [*flying, up("Wren", 5843)], DAY, lost) == spoilt_by(
        [OnTheGround(up("Rook", 5917))], [*flying, up("Quill", 5843)], DAY, [up("Umber", 5732, 200.0)]
    )
