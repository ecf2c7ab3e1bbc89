"""The chances of the outcomes of each test, worked by hand: what is noticed, cleared, read and misread."""

import math
from dataclasses import replace

import pytest

from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down
from server.allocator.trouble_air import Air, Flier, OnGround
from server.allocator.trouble_effects import Suspicion
from server.allocator.trouble_receiver import TroubledReceiver
from server.allocator.trouble_signs import Effect
from server.allocator.trouble_tests import SafeTest, _one_of, outcome_chances, safe_tests
from server.radio.outside import OutsideSignal
from server.radio.site import Site

# 25 mW from 80 m; from 8 m, where all others are near, 20 dB more.
FAR_DBM, NEAR_DBM = -69.79, -49.79


def flier(name, mhz, at=25.0, antenna="rhcp"):
    return Flier(Seat(Pilot(name, (mhz,), power_steps_mw=(at,), antenna=antenna), mhz, at))


def heard_by_wren(*others, ground=(), down=(), site=None):
    return TroubledReceiver(
        Air(DayProblem((), site or Site()), (flier("Wren", 5695), *others), ground, down), 0
    )


def cause(kind, heard, who=("Otter",), on_mhz=None, usual_db=0.0, moves=True, **scene):
    effect = Effect(-10.0, usual_db, -10.0, "beat", moves)
    return Suspicion(kind, who, on_mhz, 0.01, effect, (), replace(heard.as_called, **scene))


def yes(heard, one, kind, *who):
    ((chance, other),) = outcome_chances(heard, one, (SafeTest(kind, who),))
    assert chance + other == pytest.approx(1)
    return chance


def noticed(margin_db):
    return 1 / (1 + math.exp((margin_db + 6) / 4))


def below(deviations):
    return 0.5 * math.erfc(-deviations / math.sqrt(2))


def seen_to_clear(before_db, after_db, by_itself):
    cleared = 1 - noticed(after_db) / noticed(before_db)
    return 0.08 + 0.84 * (by_itself + (1 - by_itself) * cleared)


class TestClearing:
    @pytest.mark.parametrize(
        ("usual_db", "moves", "by_itself"), [(-5.9, True, 0.25), (-6.0, True, 0.05), (9.0, False, 0.05)]
    )
    def test_what_comes_and_goes_clears_by_itself_one_time_in_four(self, usual_db, moves, by_itself):
        # Two on one channel: 20 dB too near and 28 dB to keep, so -48 dB; 28 dB is left when one is far.
        heard = heard_by_wren(flier("Otter", 5695), flier("Rook", 5900))
        one = cause("carrier", heard, usual_db=usual_db, moves=moves)
        before_db, after_db = heard.margin_db(one.scene), heard.margin_db(one.scene, far=(1,))
        assert (before_db, after_db) == pytest.approx((-48, -28), abs=0.02)
        wanted = seen_to_clear(before_db, after_db, by_itself)
        assert yes(heard, one, "far", "Otter") == pytest.approx(wanted)
        assert yes(heard, one, "far", "Rook") == pytest.approx(seen_to_clear(-48, -48, by_itself), abs=1e-3)
        all_far = heard.margin_db(one.scene, far=(1, 2))
        assert yes(heard, one, "all far", "Otter", "Rook") == pytest.approx(
            seen_to_clear(before_db, all_far, by_itself)
        )

    def test_a_carrier_that_is_cleared_when_far(self):
        # 26 MHz off and 20 dB too near: -16.4 dB near by, and 3.6 dB from the far end.
        heard = heard_by_wren(flier("Otter", 5721))
        one = cause("carrier", heard)
        before_db = heard.margin_db(one.scene)
        assert before_db < -10
        wanted = seen_to_clear(before_db, before_db + 20, 0.25)
        assert wanted > 0.6
        assert yes(heard, one, "far", "Otter") == pytest.approx(wanted)

    def test_half_the_distance_brings_six_dB(self):
        heard = heard_by_wren(flier("Otter", 5710))
        one = cause("carrier", heard, usual_db=-9.0)
        before_db = heard.margin_db(one.scene)
        wanted = seen_to_clear(before_db, before_db + 20 * math.log10(2), 0.05)
        assert yes(heard, one, "nearer") == pytest.approx(wanted)

    def test_a_call_to_the_pits_clears_as_far_as_the_rest_is_clear(self):
        ground = (OnGround(Pilot("Quill", (5695,)), 5695, 25.0),)
        heard = heard_by_wren(flier("Otter", 5725), ground=ground)
        one = cause("pits", heard, ("Quill",), moves=False, members=(0, 1, 2), mhz=(5695, 5725, 5695))
        called_db, with_it_db = heard.margin_db(heard.as_called), heard.margin_db(one.scene)
        wanted = 0.85 * (1 - noticed(called_db) / noticed(with_it_db))
        assert 0.1 < wanted < 0.75
        assert yes(heard, one, "pits") == pytest.approx(wanted)
        assert yes(heard, cause("pits", heard), "pits") == pytest.approx(0.03)
        assert yes(heard, cause("down", heard), "pits") == pytest.approx(0.03)

    def test_another_receiver_shows_the_same_but_for_faults_of_the_own_one(self):
        heard = heard_by_wren(flier("Otter", 5725))
        assert yes(heard, cause("carrier", heard), "other receiver") == pytest.approx(0.92)
        assert yes(heard, cause("link", heard), "other receiver") == pytest.approx(0.08 + 0.84 * 0.6)
        weaker = cause("product", heard, weaker_db=9.0)
        left = noticed(heard.margin_db(heard.as_called)) / noticed(heard.margin_db(weaker.scene))
        assert 0.5 < left < 0.9
        assert yes(heard, weaker, "other receiver") == pytest.approx(0.08 + 0.84 * left)


class TestPictureCheck:
    @pytest.mark.parametrize(
        ("off_mhz", "within"),
        [
            (0, below(2) - below(-2)),
            (3, below(0.5) - below(-3.5)),
            (-3, below(0.5) - below(-3.5)),
            (4, 0.5),
            (8, below(-2)),
            (-8, below(-2)),
        ],
    )
    @pytest.mark.parametrize(("kind", "who"), [("wrong channel", "Otter"), ("own channel", "Wren")])
    def test_a_carrier_is_found_to_4_mhz_with_an_error_of_2(self, kind, who, off_mhz, within):
        heard = heard_by_wren(flier("Otter", 5732))
        given_mhz = {"Otter": 5732, "Wren": 5695}[who]
        one = cause(kind, heard, (who,), on_mhz=given_mhz + off_mhz)
        assert yes(heard, one, "channel", who) == pytest.approx(0.05 + 0.9 * within, abs=1e-4)

    def test_everybody_else_is_on_the_channel_called(self):
        heard = heard_by_wren(flier("Otter", 5732))
        on_it = pytest.approx(0.05 + 0.9 * (below(2) - below(-2)))
        assert yes(heard, cause("wrong channel", heard, on_mhz=5745), "channel", "Wren") == on_it
        assert yes(heard, cause("carrier", heard, on_mhz=5745), "channel", "Otter") == on_it


class TestLevels:
    @pytest.mark.parametrize(
        ("own_mhz", "lost_db"), [(5695, 0.0), (5705, 1.5), (5685, 1.5), (5707, 2.7), (5713, 14.0)]
    )
    def test_a_transmitter_off_tune_reads_weaker(self, own_mhz, lost_db):
        heard = heard_by_wren(flier("Otter", 5732))
        one = cause("own channel", heard, ("Wren",), on_mhz=own_mhz, own_mhz=own_mhz)
        assert yes(heard, one, "level", "Otter") == pytest.approx(0.05 + 0.9 * below((lost_db - 6) / 3))

    @pytest.mark.parametrize("weaker_db", [6.0, 10.0])
    def test_of_weak_links_six_in_ten_are_the_transmitter(self, weaker_db):
        heard = heard_by_wren(flier("Otter", 5732))
        one = cause("link", heard, ("Wren",), weaker_db=weaker_db)
        weak = 0.6 * below((weaker_db - 6) / 3) + 0.4 * below(-2)
        assert yes(heard, one, "level", "Otter") == pytest.approx(0.05 + 0.9 * weak)

    def test_a_sweep_names_whoever_is_off_loud_or_weak(self):
        heard = heard_by_wren(flier("Otter", 5732), flier("Rook", 5806))
        one = cause("carrier", heard, gear=heard.louder(1, 9.0))
        off = 1 - (below(2) - below(-2))
        shows = [off, off, off, below((9.0 - 6) / 3), below(-2), below(-2)]
        (found,) = outcome_chances(heard, one, (SafeTest("sweep", ("Wren", "Otter", "Rook")),))
        assert found == pytest.approx(_one_of(shows, 0.05))

    def test_several_that_are_far_are_told_apart(self):
        heard = heard_by_wren(flier("Otter", 5710), flier("Rook", 5806))
        one = cause("carrier", heard)
        before_db = heard.margin_db(one.scene)
        cleared = [1 - noticed(heard.margin_db(one.scene, far=(n,))) / noticed(before_db) for n in (1, 2)]
        (found,) = outcome_chances(heard, one, (SafeTest("who far", ("Otter", "Rook")),))
        assert found == pytest.approx(_one_of([0.25 + 0.75 * share for share in cleared], 0.08))


class TestOneOfSeveral:
    def test_odds_share_what_is_not_nobody(self):
        # Nobody 0.5 x 0.75; odds 1 and 1/3 share the rest; one wrong outcome in ten, of the two others.
        found = [0.375, 0.625 * 3 / 4, 0.625 / 4]
        assert _one_of([0.5, 0.25], 0.1) == pytest.approx([0.9 * one + 0.05 * (1 - one) for one in found])

    def test_nobody_where_nothing_shows(self):
        assert _one_of([0.0, 0.0, 0.0], 0.06) == pytest.approx([0.94, 0.02, 0.02, 0.02])

    def test_certain_ones_share(self):
        assert _one_of([1.0, 1.0], 0.0) == pytest.approx([0.0, 0.5, 0.5])
        assert _one_of([1.0, 0.5], 0.0) == pytest.approx([0.0, 0.999, 0.001])


class TestStillThere:
    def test_a_lost_transmitter_that_is_the_cause_is_on(self):
        heard = heard_by_wren(down=(Down("Heron", 5695, 25.0), Down("Coot", 5695, 25.0)))
        assert yes(heard, cause("down", heard, ("Heron",)), "still on", "Heron") == pytest.approx(0.95)
        assert yes(heard, cause("down", heard, ("Heron",)), "still on", "Coot") == pytest.approx(0.5)
        assert yes(heard, cause("pits", heard, ("Heron",)), "still on", "Heron") == pytest.approx(0.5)

    @pytest.mark.parametrize(
        ("signal", "read_dbm"),
        [
            (OutsideSignal(5695, 0, -85), -85.0),
            (OutsideSignal(5695, 0, -90), -90.0),
            (OutsideSignal(5705, 0, -82), -83.5),
            (OutsideSignal(5685, 0, -82), -83.5),
            (OutsideSignal(5705, 20, -85), -85.0),
            (OutsideSignal(5705, 30, -85), -85.0),
            (OutsideSignal(5712, 10, -80), -82.7),
        ],
    )
    def test_a_signal_on_the_air_is_seen_by_its_nearer_edge(self, signal, read_dbm):
        wanted = pytest.approx(0.05 + 0.9 * below((read_dbm + 85) / 5), abs=1e-3)
        noted = heard_by_wren(site=Site(outside=(signal,)))
        assert yes(noted, cause("outside", noted), "landed") == wanted
        unknown = heard_by_wren()
        assert yes(unknown, cause("outside", unknown, signal=signal), "landed") == wanted

    def test_signals_add_up(self):
        heard = heard_by_wren(site=Site(outside=(OutsideSignal(5695, 0, -88),)))
        one = cause("outside", heard, signal=OutsideSignal(5695, 0, -88))
        assert yes(heard, one, "landed") == pytest.approx(0.05 + 0.9 * below((-88 + 3.01 + 85) / 5), abs=1e-3)

    @pytest.mark.parametrize(("antenna", "credit_db"), [("rhcp", 0.0), ("lhcp", 6.0)])
    def test_who_flies_is_half_way_and_off_tune(self, antenna, credit_db):
        heard = heard_by_wren(flier("Otter", 5715, antenna=antenna))
        read_dbm = NEAR_DBM - 10 - 20 - credit_db
        wanted = 0.05 + 0.9 * below((read_dbm + 85) / 5)
        assert yes(heard, cause("link", heard), "landed") == pytest.approx(wanted, abs=1e-3)

    def test_what_lies_on_the_ground_stays_as_near(self):
        heard = heard_by_wren(down=(Down("Heron", 5719, 25.0),))
        # 24 MHz off lose 31.6 dB.
        wanted = 0.05 + 0.9 * below((NEAR_DBM - 31.6 + 85) / 5)
        assert yes(heard, cause("down", heard), "landed") == pytest.approx(wanted, abs=1e-3)

    def test_the_own_transmitter_is_off_by_then(self):
        heard = heard_by_wren()
        assert yes(heard, cause("link", heard), "landed") == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("powers", "name"),
    [
        ((25.0, 200.0), "P1"),
        ((400.0, 200.0), "P2"),
        ((10.0, 40.0), "P2"),
        ((50.0, 12.5), "P1"),
        ((1.0, 30.0), "P2"),
    ],
)
def test_levels_are_compared_with_whoever_has_the_nearest_power_by_ratio(powers, name):
    others = [flier(f"P{n}", 5732 + 37 * n, power) for n, power in enumerate(powers, start=1)]
    found = [one.who for one in safe_tests(heard_by_wren(*others)) if one.kind == "level"]
    assert found == [(name,)]
