import pytest

from server.radio.outside import OutsideSignal
from server.services import outside_signals, provisional
from server.services.channel_offers import offers
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.outside_effects import weakened
from server.services.standings import standing
from server.services.turn_lineup import turn_lineup
from server.storage import logbook, pilots
from tests.factories import NOW, make_day, make_pilot
from tests.services.changed_days import CREW, answered, happen, id_of, published_day


def heard(session, day):
    return outside_signals.site_on(session, day).outside


def other_pilot(session, day, **video):
    usual = {"video": "other", "centre_mhz": 5760.0, "width_mhz": 20.0, "power_mw": "25 700"}
    pilot = make_pilot(session, day, "Coot")
    aircraft = pilots.aircraft_of(session, pilot.id)[0]
    for name, value in (usual | video).items():
        setattr(aircraft, name, value)
    session.flush()
    return pilot


def test_a_quiet_day_has_the_site_that_is_chosen(session):
    day = make_day(session)
    assert heard(session, day) == ()
    assert outside_signals.views(session, day) == []


def test_a_signal_is_heard_until_it_is_gone(session):
    day = make_day(session)
    row, text = outside_signals.note(session, day, "5745 20 -62 camera van", NOW)
    assert heard(session, day) == (OutsideSignal(5745, 20, -62),)
    assert text == "On the air at 5745 MHz, 20 MHz wide (camera van), \N{MINUS SIGN}62 dBm."
    (view,) = outside_signals.views(session, day)
    assert (view.words, view.note) == ("5745 MHz, 20 MHz wide, \N{MINUS SIGN}62 dBm", "camera van")
    assert (
        outside_signals.end(session, day, row.id, NOW) == "camera van at 5745 MHz is gone: it counts no more."
    )
    assert heard(session, day) == ()
    with pytest.raises(OvertakenError):
        outside_signals.end(session, day, row.id, NOW)


def test_both_stand_in_the_logbook(session):
    day = make_day(session)
    row, text = outside_signals.note(session, day, "R3 weak", NOW)
    end = outside_signals.end(session, day, row.id, NOW)
    gone, noted = logbook.newest_first(session, day.id, 2)
    assert (noted.action, noted.text) == ("outside signal", text)
    assert (gone.action, gone.text) == ("outside signal gone", end)
    assert end == "The outside signal at 5732 MHz is gone: it counts no more."


def test_a_line_that_means_nothing_is_an_error_of_the_field(session):
    with pytest.raises(InputError) as refused:
        outside_signals.note(session, make_day(session), "van", NOW)
    assert list(refused.value.faults) == ["signal"]


def test_more_than_can_be_listed_are_refused(session):
    day = make_day(session)
    for _ in range(outside_signals.MOST_SIGNALS):
        outside_signals.note(session, day, "5745", NOW)
    with pytest.raises(RefusedError, match="End those that are gone first"):
        outside_signals.note(session, day, "5745", NOW)


class TestOtherVideo:
    def test_it_does_not_share_the_air_by_itself(self, session):
        day = make_day(session)
        coot = other_pilot(session, day)
        assert heard(session, day) == ()
        (one,) = outside_signals.other_video(session, day)
        assert (one.pilot_id, one.callsign, one.words) == (coot.id, "Coot", "5760 MHz, 20 MHz wide")

    def test_where_the_director_says_so_it_counts_as_a_block_from_nearby(self, session):
        day = make_day(session)
        _, text = outside_signals.share(session, day, other_pilot(session, day), NOW)
        (block,) = heard(session, day)
        # 700 mW at 8 m: 28.45 dBm + 2 dBi - 65.77 dB.
        assert block.level_dbm == pytest.approx(-35.3, abs=0.05)
        assert (block.centre_mhz, block.width_mhz) == (5760, 20)
        assert block.words == "Coot's other video at 5760 MHz"
        assert text == "Coot's other video shares the air with the heats: 5760 MHz, 20 MHz wide."
        assert outside_signals.other_video(session, day) == []

    def test_nobody_else_can_be_said_to_share(self, session):
        day = make_day(session)
        with pytest.raises(RefusedError, match="Wren flies no other video"):
            outside_signals.share(session, day, make_pilot(session, day, "Wren"), NOW)


class TestWhatItReaches:
    """Wren flies on 5658 and Otter on 5695 in heat 1, Rook and Quill in heat 2."""

    @pytest.fixture
    def day(self, session):
        return published_day(session)

    def test_margins_of_the_draft_and_who_lost_against_the_published_plan(self, session, day):
        outside_signals.note(session, day, "5658 10 -80 van", NOW)
        now = standing(session, day)
        slots = {slot["callsign"]: slot for heat in now.draft.snapshot["heats"] for slot in heat["slots"]}
        assert slots["Wren"]["limiting_cause"]["kind"] == "outside"
        told = "The outside signal at 5658 MHz, right on this channel, takes"
        assert slots["Wren"]["cause_words"].startswith(told)
        lost = weakened(now.published, now.draft.snapshot, 5.0)
        assert [one.split(":")[0] for one in lost] == ["Rook in heat 2", "Wren in heat 1"]
        assert "published with" in lost[0]

    def test_the_draft_keeps_what_it_heard(self, session, day):
        outside_signals.note(session, day, "5658 10 -80", NOW)
        assert standing(session, day).draft.snapshot["outside"] == [
            {
                "centre_mhz": 5658.0,
                "width_mhz": 10.0,
                "level_dbm": -80.0,
                "words": "the outside signal at 5658 MHz",
            }
        ]
        assumed = standing(session, day).draft.snapshot["assumptions"][-1]
        assert assumed["value"] == "5658 MHz, 10 MHz wide, \N{MINUS SIGN}80 dBm"
        assert assumed["source"] == "noted at the field"

    def test_the_rows_of_the_trade_off_take_pilots_off_its_channel(self, session, day):
        outside_signals.note(session, day, "5658 10 -80", NOW)
        rows = answered(session, day, happen(session, day, "look")).changed.rows
        assert rows[0].moved == 0
        assert rows[-1].worst_margin_db > rows[0].worst_margin_db + 10
        assert {move.callsign for move in rows[-1].moves} == {"Wren", "Rook"}

    def test_channels_offered_by_hand_and_at_the_desk_shun_it(self, session, day):
        outside_signals.note(session, day, "5658 10 -80", NOW)
        draft = standing(session, day).draft
        wren = offers(draft.basis, draft.content, id_of(session, day, CREW[0]))
        worst = {offer.mhz: offer.worst_margin_db for offer in wren}
        assert worst[5658] < -15 < worst[5880]
        provisional.give(session, day, late := make_pilot(session, day, "Late", tunes="5658 5885"))
        assert late.provisional_mhz == 5885

    def test_open_flying_hears_it_too(self, session, day):
        outside_signals.note(session, day, "5658 10 -80", NOW)
        assert turn_lineup(session, day, []).problem.site.outside == (OutsideSignal(5658, 10, -80),)

    def test_an_unfelt_one_weakens_nobody(self, session, day):
        outside_signals.note(session, day, "5658 10 -115", NOW)
        now = standing(session, day)
        assert weakened(now.published, now.draft.snapshot, 5.0) == []

    def test_a_pilot_on_another_channel_by_now_is_not_compared(self, session, day):
        outside_signals.note(session, day, "5658 10 -80", NOW)
        now = standing(session, day)
        published = pilot_on(now.published, "Wren", 5917)
        assert [one.split()[0] for one in weakened(published, now.draft.snapshot, 5.0)] == ["Rook"]

    def test_heats_that_were_flown_are_history(self, session):
        flown = published_day(session, *CREW, flown=1, code="zzzz")
        outside_signals.note(session, flown, "5658 10 -80", NOW)
        now = standing(session, flown)
        lost = weakened(now.published, now.draft.snapshot, 5.0)
        assert [one.split()[0] for one in lost] == ["Rook"]


def pilot_on(snapshot, callsign, mhz):
    heats = [
        {
            **heat,
            "slots": [
                {**slot, "mhz": mhz} if slot["callsign"] == callsign else slot for slot in heat["slots"]
            ],
        }
        for heat in snapshot["heats"]
    ]
    return {**snapshot, "heats": heats}
