"""What happens on the day, from the first check-in to the last landing."""

import asyncio
import time
from functools import partial
from pathlib import Path

import httpx

from tests.browser.field_server import FieldServer
from tests.simulated_day import pages
from tests.simulated_day.clocked_server import CLOCK_STARTS_AT, TOKEN
from tests.simulated_day.day import HEARTBEAT_S, PATIENCE_S, STARTS_AT, Day, Report
from tests.simulated_day.phones import look_at_all

COOKIE = "bandstand_director"
NAMES = (
    *("Wren", "Biscuit", "Juniper", "Sorrel", "Magpie", "Otter", "Pascal", "Quill", "Rook", "Saffron"),
    *("Teasel", "Umber", "Vesper", "Willow", "Yarrow", "Zephyr", "Bramble", "Coot", "Dunlin", "Egret"),
    *("Finch", "Gannet", "Heron", "Ibis", "Jay", "Kestrel", "Linnet", "Merlin", "Nightjar", "Osprey"),
)
AT_THE_DESK, LATE = NAMES[:28], NAMES[28:]
GEAR = ("ABEFR 25,200 r", "ABEFR 25,200,600 r", "R 25 r", "ABEFR 25 l", "ABEF 25,200 r")
UP_AT_ONCE, ROUNDS, RULES = 8, 3, "us-amateur"


def run(folder: Path) -> Report:
    """Play the day in this folder."""
    server = FieldServer(folder, "tests.simulated_day.clocked_server")
    server.environment[CLOCK_STARTS_AT] = STARTS_AT.isoformat()
    server.environment["BANDSTAND_HEARTBEAT_S"] = str(HEARTBEAT_S)
    server.start()
    began = time.monotonic()
    try:
        report = asyncio.run(_play(server))
    finally:
        server.stop()
    report.took_s = time.monotonic() - began
    return report


async def _play(server: FieldServer) -> Report:
    base = f"http://127.0.0.1:{server.port}"
    limits = httpx.Limits(max_connections=None, max_keepalive_connections=50)
    async with httpx.AsyncClient(
        base_url=base, headers={"Origin": base}, cookies={COOKIE: TOKEN}, limits=limits, timeout=PATIENCE_S
    ) as http:
        day = Day(server, http)
        looking = asyncio.create_task(look_at_all(day.phones))
        try:
            await _from_check_in_to_the_last_landing(day)
            day.report.flights = {name: day.judge.flights[name] for name in day.phones}
            day.report.flights_shown = await day.director.flights()
            day.report.logbook = await day.director.logbook()
            day.report.overrides = day.director.overrides
        finally:
            looking.cancel()
            for phone in day.phones.values():
                await phone.sleep()
    return day.report


async def _from_check_in_to_the_last_landing(day: Day) -> None:
    await _check_in(day)
    specials = {
        1: _heat_with_a_wrong_channel,
        2: _heat_called_back_with_walkers_and_a_dead_server,
        3: _heat_that_is_stopped,
        4: _heat_with_one_lost,
        5: _heat_beside_a_lost_transmitter,
        6: _heat_with_a_withdrawal_on_the_line,
        8: _heat_ended_by_everybody_land,
        9: _heat_with_a_phone_asleep,
    }
    done: set[int] = set()
    while (heat := day.judge.next_heat) is not None:
        await day.later(4)
        special = specials.get(heat) if heat not in done else None
        done.add(heat)
        await (special or _heat)(day, heat)
        if heat == 5:
            await _two_arrive_late(day)
        if heat == 7:
            await _one_withdraws_between_heats(day)


async def _check_in(day: Day) -> None:
    await day.director.open_day("Heron Hollow day", UP_AT_ONCE, ROUNDS, RULES)
    for number, callsign in enumerate(AT_THE_DESK):
        slot = await day.director.check_in(f"{callsign} {GEAR[number % len(GEAR)]}")
        day.judge.arrives(callsign)
        day.give_phone(callsign, slot)
    await day.act(lambda: asyncio.sleep(0), lambda: None)
    await day.director.plan()
    await _publish(day)


async def _publish(day: Day) -> None:
    crews: dict[int, list[str]] = {}

    async def publish() -> None:
        crews.update(await day.director.publish())

    await day.act(publish, lambda: day.judge.published(crews))


# A heat, step by step


async def _call(day: Day, heat: int) -> list[str]:
    """Called in the order that is read out; who flies in it, in that order."""
    order = await day.director.order_of_next()
    await day.act(partial(day.director.call, heat), partial(day.judge.called, heat, order))
    assert day.judge.call is not None
    day.report.heats.append(f"heat {heat}: {', '.join(order)}")
    return [name for name, at in day.judge.call.at.items() if at != "is out"]


async def _clear(day: Day, callsign: str, by_phone: bool = True) -> None:
    press = partial(day.phones[callsign].press, "Picture is clear")
    confirm = partial(day.director.pilot, callsign, "picture-is-clear")
    await day.act(press if by_phone else confirm, partial(day.judge.picture_is_clear, callsign))


async def _power_up(day: Day, by_voice: str = "") -> None:
    """Whoever has the turn; every third is confirmed by the director, and who is called by voice."""
    number = 0
    while (callsign := day.judge.has_the_turn) is not None:
        await _clear(day, callsign, by_phone=number % 3 != 2 and callsign != by_voice)
        number += 1


async def _release(day: Day) -> None:
    await day.act(partial(day.director.step, "release"), day.judge.released)
    await day.later(3)


async def _land(day: Day) -> None:
    await day.act(partial(day.director.step, "land"), day.judge.called_to_land)


async def _everybody_off(day: Day) -> None:
    assert day.judge.call is not None
    if "comes down" in day.judge.call.at.values():
        await day.act(partial(day.director.step, "all-landed"), day.judge.all_landed)
    await day.act(partial(day.director.step, "end"), day.judge.ended)
    await day.later(1)


async def _heat(day: Day, heat: int) -> None:
    """As it should go, with the director's one key."""
    await _call(day, heat)
    await _power_up(day)
    await _release(day)
    await _land(day)
    await _everybody_off(day)


# What goes wrong


async def _heat_with_a_wrong_channel(day: Day, heat: int) -> None:
    """One sees another picture, goes off, sets the channel, powers up again; one in the pits has to wait."""
    crew = await _call(day, heat)
    await _clear(day, crew[0])
    await _correct_the_channel(day, crew[1])
    await _power_up(day)
    await _release(day)
    waiting = next(name for name in AT_THE_DESK if name not in crew and name not in day.judge.crews[heat + 1])
    ask = partial(day.phones[waiting].ask_to_switch_on, "set-up")
    await day.act(ask, partial(day.judge.in_the_pits, waiting, "waits"))
    await _land(day)
    for callsign in crew:
        await day.act(
            partial(day.phones[callsign].press, "I have landed"), partial(day.judge.landed, callsign)
        )
    for callsign in crew:
        off = partial(day.phones[callsign].press, "Disarmed and powered off")
        await day.act(off, partial(day.judge.is_off, callsign))

    await day.act(partial(day.director.step, "end"), day.judge.ended)
    await day.act(
        partial(day.phones[waiting].press, "It is on"), partial(day.judge.in_the_pits, waiting, "is on")
    )
    seen = await day.director.seen_call()
    await day.refused("line/call", heats=str(heat + 1), seen=seen)
    await day.act(
        partial(day.phones[waiting].press, "It is off"), partial(day.judge.in_the_pits, waiting, "is off")
    )


async def _correct_the_channel(day: Day, callsign: str) -> None:
    """It was on another channel: off, set, and back in line."""
    await day.act(
        partial(day.director.pilot, callsign, "stand-down"), partial(day.judge.stands_down, callsign)
    )
    await day.act(
        partial(day.phones[callsign].press, "Disarmed and powered off"), partial(day.judge.is_off, callsign)
    )
    await day.act(
        partial(day.director.pilot, callsign, "back-in-line"), partial(day.judge.back_in_line, callsign)
    )


async def _heat_called_back_with_walkers_and_a_dead_server(day: Day, heat: int) -> None:
    """The call is undone; called again, somebody walks on the field; in the air the server dies."""
    await _call(day, heat)
    await day.act(day.director.undo, partial(day.judge.stopped, counts=False))
    await _everybody_off(day)
    first, second, *_ = await _call(day, heat)
    await _clear(day, first)
    await day.act(partial(day.director.walkers, True), partial(day.judge.walk, True))
    await _clear(day, second)
    await day.refused("line/step/release", seen=await day.director.seen_call())
    await day.act(partial(day.director.walkers, False), partial(day.judge.walk, False))
    await _power_up(day)
    await _release(day)
    await day.lose_the_server()
    await _land(day)
    await day.act(partial(day.director.pilot, first, "landed"), partial(day.judge.landed, first))
    await day.act(day.director.undo, partial(day.judge.still_up, first))
    await _everybody_off(day)


async def _heat_that_is_stopped(day: Day, heat: int) -> None:
    """A picture turns out wrong after all, and is set right; in the air the heat is stopped, to be flown again."""
    crew = await _call(day, heat)
    await _correct_the_channel(day, crew[0])
    await _power_up(day)
    last = crew[-1]
    await day.act(partial(day.director.pilot, last, "not-clear"), partial(day.judge.not_clear, last))
    await _clear(day, last)
    await _release(day)
    stop = partial(day.director.step, "stop", reason="Two pictures break up.", counts="no")
    await day.act(stop, partial(day.judge.stopped, counts=False))
    await _everybody_off(day)


async def _heat_with_one_lost(day: Day, heat: int) -> None:
    crew = await _call(day, heat)
    await _power_up(day)
    await _release(day)
    await day.act(partial(day.director.pilot, crew[0], "down"), partial(day.judge.went_down, crew[0]))
    await _land(day)
    await _everybody_off(day)


async def _heat_beside_a_lost_transmitter(day: Day, heat: int) -> None:
    """Flown all the same, in words; one in the pits switches on unasked; then the lost one is found."""
    crew = await _call(day, heat)
    await _power_up(day)
    await _release(day)
    unasked = next(
        name for name in AT_THE_DESK if name not in crew and name in day.judge.here - day.judge.lost
    )
    asked = partial(day.director.ask_clearance, unasked, "set-up")
    await day.act(asked, partial(day.judge.in_the_pits, unasked, "waits"))
    off = partial(day.director.clearance, "off")
    await day.act(off, partial(day.judge.in_the_pits, unasked, "is off"))
    lost = next(iter(day.judge.lost))
    await day.act(partial(day.director.find, lost), partial(day.judge.was_found, lost))
    await _land(day)
    await _everybody_off(day)


async def _two_arrive_late(day: Day) -> None:
    for callsign in LATE:
        await _join_by_phone(day, callsign)
        await day.act(lambda: asyncio.sleep(0), lambda: None)
        await day.director.give_a_place(callsign)
        await _publish(day)


async def _join_by_phone(day: Day, callsign: str) -> None:
    """A pilot who checks in with the own phone, and opens the page that it gets."""
    address = f"/join/{day.director.code}"
    form = pages.form_to((await day.http.get(address)).text, address)
    sent = form.fields | {"callsign": callsign, "tunes": "A B E F R", "mw-25": "yes", "antenna": "rhcp"}
    answer = await day.http.post(form.action, data=sent)
    assert answer.status_code == 303, pages.notice(answer.text)
    joined = (await day.http.get(answer.headers["Location"])).text
    await day.director.find_pilots()
    slot = await day.director.slot_of(day.director.ids[callsign])
    assert slot in joined
    day.judge.arrives(callsign)
    day.give_phone(callsign, slot)


async def _heat_with_a_withdrawal_on_the_line(day: Day, heat: int) -> None:
    """One who powers up leaves the day: off with it, then the turn goes on."""
    first, second, *_ = await _call(day, heat)
    await _clear(day, first)
    await day.act(partial(day.director.withdraw, second), partial(day.judge.leaves, second))
    await day.act(partial(day.director.pilot, second, "off"), partial(day.judge.is_off, second))
    await _power_up(day)
    await _release(day)
    await _land(day)
    await _everybody_off(day)


async def _one_withdraws_between_heats(day: Day) -> None:
    leaves = next(name for name in reversed(AT_THE_DESK) if name in day.judge.here)
    await day.act(partial(day.director.withdraw, leaves), partial(day.judge.leaves, leaves))


async def _heat_ended_by_everybody_land(day: Day, heat: int) -> None:
    """While one powers up, and again in the air, with a phone that sleeps through it."""
    crew = await _call(day, heat)
    await _power_up(day)
    await _release(day)
    await day.sleep(crew[1])
    await day.act(
        partial(day.director.everybody_land, "Air ambulance from the north."), day.judge.everybody_lands
    )
    await day.wake(crew[1])
    await day.refused("line/call", heats=str(heat), seen=await day.director.seen_call())
    await day.act(day.director.lift, day.judge.lifted)
    await _everybody_off(day)


async def _heat_with_a_phone_asleep(day: Day, heat: int) -> None:
    """Called by voice: the director confirms the picture of the one whose phone sleeps until the release."""
    order = await day.director.order_of_next()
    sleeper = order[0]
    await day.sleep(sleeper)
    await _call(day, heat)
    await _power_up(day, by_voice=sleeper)
    await _release(day)
    await day.wake(sleeper)
    await _land(day)
    await _everybody_off(day)
