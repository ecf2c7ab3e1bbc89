from server.services.line_desk import line_desk
from server.storage.tables import WITHDRAWN
from tests.factories import make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import flown, released, step


def flights(session, day):
    session.flush()
    return dict(line_desk(session, day).flights)


def test_a_heat_that_is_flown_twice_and_counts_once_is_one_flight(session):
    day = make_day(session)
    publish(session, day, [[(make_pilot(session, day, "Wren"), "R1")]])
    make_pilot(session, day, "Otter")
    released(session, day, 1)
    step(session, day, "stop", counts=False)
    step(session, day, "all landed")
    step(session, day, "end")
    assert flights(session, day) == {"Wren": 0, "Otter": 0}
    flown(session, day, 1)
    assert flights(session, day) == {"Wren": 1, "Otter": 0}


def test_who_flew_and_left_keeps_the_flight_and_who_left_before_is_not_listed(session):
    day = make_day(session)
    wren = make_pilot(session, day, "Wren")
    make_pilot(session, day, "Rook", state=WITHDRAWN)
    publish(session, day, [[(wren, "R1")]])
    flown(session, day, 1)
    wren.state = WITHDRAWN
    assert flights(session, day) == {"Wren": 1}
