import pytest

from server.services.errors import InputError
from server.services.paper_choices import PaperChoices, keep, paper_choices_of
from tests.factories import make_day


@pytest.mark.parametrize(
    ("time_zone", "size"),
    [
        ("Europe/Dublin", "a4"),
        ("America/Sao_Paulo", "a4"),
        ("America/Chicago", "letter"),
        ("America/Indiana/Knox", "letter"),
        ("Pacific/Honolulu", "letter"),
    ],
)
def test_the_usual_paper_is_that_of_the_place(database, time_zone, size):
    with database.write() as session:
        day = make_day(session, time_zone=time_zone)
        assert paper_choices_of(session, day) == PaperChoices(size, ("heat", "pilot", "channel"))


def test_a_choice_is_kept_for_its_day_alone(database):
    with database.write() as session:
        day, other = make_day(session), make_day(session)
        keep(session, day, "letter", ["spectrum", "pilot"])
        keep(session, day, "letter", ["spectrum", "heat"])
        assert paper_choices_of(session, day) == PaperChoices("letter", ("heat", "spectrum"))
        assert paper_choices_of(session, other).size == "a4"


def test_a_choice_that_prints_nothing_is_refused_and_the_old_one_kept(database):
    with database.write() as session:
        day = make_day(session)
        before = paper_choices_of(session, day)
        with pytest.raises(InputError) as refused:
            keep(session, day, "a3", ["name"])
        assert set(refused.value.faults) == {"size", "sections"}
        assert paper_choices_of(session, day) == before
