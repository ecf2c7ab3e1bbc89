import pytest

from server.allocator.rest import Down
from server.services import aircraft, down_transmitters, flown_heats, pilots
from server.services.channel_offers import offers
from server.services.day_now import DayNow
from server.services.errors import OvertakenError, RefusedError
from server.services.slots import slots_of_day
from server.services.standings import standing
from server.storage import logbook
from tests.factories import NOW, make_aircraft, make_pilot
from tests.services.changed_days import CREW, id_of, published_day
from tests.services.planned_days import day_with_pilots


def report(session, day, callsign):
    pilot = pilots.pilot_of(session, day, id_of(session, day, callsign))
    return down_transmitters.report(session, day, pilot, NOW)


def test_it_is_kept_with_the_facts_it_went_down_with(session):
    day = published_day(session)
    down = report(session, day, "Otter")
    assert (down.callsign, down.mhz, down.power_mw, down.antenna) == ("Otter", 5695, 25, "rhcp")
    assert down_transmitters.interferers(session, day) == (Down("Otter", 5695, 25),)
    text = logbook.newest_first(session, day.id, 1)[0].text
    assert text == "Otter is down, still on: R2 5695. Others stay off it until it is found."


def test_it_lies_on_the_channel_of_the_last_heat_flown(session):
    day = published_day(session, flown=1)
    assert report(session, day, "Wren").mhz == 5658


def test_a_pilot_without_a_slot_has_the_provisional_channel_or_none(session):
    day = published_day(session)
    make_pilot(session, day, "Late", provisional_mhz=5800, power_mw="100 400")
    down = report(session, day, "Late")
    assert (down.mhz, down.power_mw) == (5800, 100)
    make_pilot(session, day, "Later")
    with pytest.raises(RefusedError, match="Later has no channel yet"):
        report(session, day, "Later")


def test_noting_it_twice_is_refused(session):
    day = published_day(session)
    report(session, day, "Otter")
    with pytest.raises(RefusedError, match="down, still on already"):
        report(session, day, "Otter")


def test_its_pilot_flies_no_more_with_it_but_does_with_a_spare(session):
    day = published_day(session)
    report(session, day, "Otter")
    otter = pilots.pilot_of(session, day, id_of(session, day, "Otter"))
    assert otter.id not in standing(session, day).draft.basis.pilots
    assert standing(session, day).draft.absent == ("Otter is down, still on: the slot in heat 1 is empty.",)
    spare = make_aircraft(session, otter, "R1 R8", name="spare 1")
    aircraft.fly(session, day, otter, spare, "director", NOW)
    assert otter.id in standing(session, day).draft.basis.pilots


def test_everybody_ahead_hears_it(session):
    day = published_day(session, flown=1)
    before = standing(session, day).draft.snapshot
    report(session, day, "Otter")
    after = standing(session, day).draft.snapshot
    assert after["heats"][0] == before["heats"][0]
    assert after["heats"][1]["worst_margin_db"] < -40  # Quill flies on the same channel
    assert after["down"][0]["callsign"] == "Otter"
    broken = standing(session, day).draft.faults.broken
    assert "Heat 2: Quill flies 0 MHz from Otter's transmitter, which is down and still on." in broken


def test_what_a_channel_would_bring_counts_it(session):
    day = published_day(session)
    report(session, day, "Otter")
    draft = standing(session, day).draft
    found = {one.mhz: one for one in offers(draft.basis, draft.content, id_of(session, day, "Quill"))}
    assert found[5695].spacing_mhz == 0
    assert found[5695].worst_margin_db < -40
    assert found[5880].worst_margin_db > 0


def test_its_pilot_is_told_so_in_the_word_for_it(session):
    day = published_day(session)
    report(session, day, "Otter")
    pages = {page.callsign: page for page in slots_of_day(session, DayNow(session, day))}
    assert (pages["Otter"].word, pages["Otter"].word_in_doubt) == ("DOWN, STILL ON", "ASK THE DIRECTOR")
    assert pages["Otter"].reason.startswith("Your transmitter is down and still on.")
    assert (pages["Wren"].word, pages["Rook"].word) == ("READY", "STAY OFF")


def test_once_found_nobody_hears_it_any_more(session):
    day = published_day(session)
    before = standing(session, day).draft.snapshot["heats"]
    down = report(session, day, "Otter")
    text = down_transmitters.found(session, day, down.id, NOW)
    assert text == "Otter's transmitter is found and off: 5695 MHz is clear again."
    assert logbook.newest_first(session, day.id, 1)[0].text == text
    assert standing(session, day).draft.snapshot["heats"] == before
    with pytest.raises(OvertakenError, match="not on the list any more"):
        down_transmitters.found(session, day, down.id, NOW)


def test_it_belongs_to_its_day_alone(session):
    day, other = published_day(session), day_with_pilots(session, *CREW)
    down = report(session, day, "Otter")
    assert down_transmitters.still_on(session, other) == []
    with pytest.raises(OvertakenError):
        down_transmitters.found(session, other, down.id, NOW)


def test_a_flown_day_shows_only_heats_ahead_on_a_pilots_page(session):
    day = published_day(session)
    flown_heats.next_heat(session, day, 2, NOW)
    pages = {page.callsign: page for page in slots_of_day(session, DayNow(session, day))}
    assert pages["Wren"].standing == "flown"
    assert pages["Wren"].heats == ()
    assert pages["Wren"].reason.startswith("Your heats of this plan are flown.")
    assert [heat.number for heat in pages["Rook"].heats] == [2]
