import pytest

from server.services import logbook
from server.services.errors import NotFoundError
from tests.factories import make_day, make_logbook_entry


@pytest.mark.parametrize(
    ("count", "sizes"),
    [(0, [0]), (49, [49]), (50, [50]), (51, [50, 1]), (100, [50, 50]), (101, [50, 50, 1])],
)
def test_pages_hold_fifty_entries_and_end_where_the_entries_end(session, count, sizes):
    day = make_day(session)
    ids = [make_logbook_entry(session, day).id for _ in range(count)]
    pages, before = [], None
    while True:
        page = logbook.page(session, day.code, before)
        pages.append([entry.id for entry in page.entries])
        before = page.older_before
        if before is None:
            break
    assert [len(page) for page in pages] == sizes
    assert [one for page in pages for one in page] == ids[::-1]


def test_entries_that_come_meanwhile_do_not_shift_the_older_page(session):
    day = make_day(session)
    ids = [make_logbook_entry(session, day).id for _ in range(51)]
    before = logbook.page(session, day.code).older_before
    make_logbook_entry(session, day)
    assert [entry.id for entry in logbook.page(session, day.code, before).entries] == ids[:1]


def test_an_unknown_day_is_not_found(session):
    with pytest.raises(NotFoundError, match="no field day with the code none"):
        logbook.page(session, "none")
