import io
import re

import pytest
from pypdf import PdfReader

from server.services.days import day_with
from server.storage import pilots
from server.web.paper_pages import KINDS
from tests.factories import make_day, make_pilot
from tests.factories_snapshot import publish

OF_A_PLAN = tuple(kind for kind in KINDS if kind != "check-in-form")


@pytest.fixture
def day_code(database):
    """A day on which plan 2, where Wren flies on R2 and then on F4, has replaced plan 1, where it was R1."""
    with database.write() as session:
        day = make_day(session, base_url="http://192.168.8.2:8000")
        wren = make_pilot(session, day, "Wren", name="Jo Example")
        otter = make_pilot(session, day, "<b>Otter</b>", name="Sam Example")
        publish(session, day, [[(wren, "R1"), (otter, "R8")]])
        publish(session, day, [[(wren, "R2"), (otter, "R8")], [(wren, "F4")]])
        return day.code


@pytest.fixture
def page_of(director, day_code):
    return lambda query="": director.get(f"/days/{day_code}/paper{query}").text


def words_of(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def test_the_page_names_every_document_with_its_pages_and_its_size(page_of):
    text = words_of(page_of())
    for title, _ in KINDS.values():
        assert re.search(rf"{title} [^\d]* Get the PDF \d pages?, A4", text)
    assert (
        "Heat sheet For the flight line and the notice board, with the sections chosen. Get the PDF 3 pages, A4"
        in text
    )


def test_every_document_and_every_picture_of_the_page_can_be_had(director, page_of):
    for query, plan_line in (("", "Plan 2, published"), ("?plan=1", "Plan 1, published")):
        html = page_of(query).replace("&amp;", "&")
        files, pictures = (
            re.findall(r'href="([^"]*\.pdf[^"]*)"', html),
            re.findall(r'src="([^"]*\.png[^"]*)"', html),
        )
        assert (len(files), len(pictures)) == (1 + len(KINDS), len(KINDS))  # the primary button too
        for file in files:
            answer = director.get(file)
            assert answer.headers["Content-Type"] == "application/pdf"
            assert answer.headers["Cache-Control"] == "no-store"
            assert "check-in-form" in file or plan_line in text_of(answer.content)
        assert all(director.get(picture).content.startswith(b"\x89PNG") for picture in pictures)


def test_paper_says_what_the_screen_says(director, day_code):
    """Callsign, channel, MHz, power and heats, by heat and by pilot."""
    for section in ("heat", "pilot"):
        screen = director.get(f"/days/{day_code}/heat-sheet?by={section}").text
        rows = re.findall(r'<th scope="row">(.*?)</tr>', screen, re.S)
        assert len(rows) == 3
        printed = text_of(director.get(f"/days/{day_code}/paper/heat-sheet.pdf?section={section}").content)
        for row in rows:
            tuned = re.search(r"\b([A-Z]\d) (\d{4}) MHz (\d+ mW)(?: (\d+))?", words_of(row))
            assert " ".join(part for part in tuned.groups() if part) in printed


def test_a_choice_of_size_and_sections_is_kept_and_used(director, day_code, page_of):
    answer = director.post(f"/days/{day_code}/paper", data={"size": "letter", "section_channel": "yes"})
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/days/{day_code}/paper")
    assert "Get the PDF 1 page, Letter" in words_of(page_of())
    (page,) = PdfReader(io.BytesIO(director.get(f"/days/{day_code}/paper/heat-sheet.pdf").content)).pages
    assert (page.mediabox.width, page.mediabox.height) == (612, 792)
    assert "By channel" in page.extract_text()


def test_a_fragment_is_answered_with_the_papers_alone(director, day_code):
    partial = {"HX-Request-Type": "partial"}
    answer = director.post(
        f"/days/{day_code}/paper?plan=1", data={"size": "letter", "section_heat": "yes"}, headers=partial
    )
    assert answer.status_code == 200
    assert answer.text.lstrip().startswith('<div class="papers" id="papers">')
    assert "plan=1&amp;paper=letter&amp;section=heat" in answer.text


def test_no_section_is_refused_beside_the_sections(director, day_code, page_of):
    answer = director.post(f"/days/{day_code}/paper", data={"size": "letter"})
    assert answer.status_code == 422
    assert "Choose at least one section of the heat sheet" in answer.text
    assert "3 pages, A4" in words_of(page_of())


def test_a_file_is_named_after_day_plan_kind_and_size(director, day_code):
    for kind, part in (("pilot-cards", "-plan-2"), ("check-in-form", "")):
        answer = director.get(f"/days/{day_code}/paper/{kind}.pdf?paper=letter")
        name = f"tern-meadow-club-day-2026-05-16{part}-{kind}-letter.pdf"
        assert answer.headers["Content-Disposition"] == f'attachment; filename="{name}"'


def test_a_sheet_of_an_earlier_plan_says_what_replaced_it(director, day_code, page_of):
    text = text_of(director.get(f"/days/{day_code}/paper/heat-sheet.pdf?plan=1").content)
    assert "Replaced by plan 2: do not use this sheet" in text
    assert "Plan 2 has replaced plan 1. Print plan 2" in words_of(page_of("?plan=1"))


def test_nobodys_name_is_on_any_paper(director, day_code):
    for kind in OF_A_PLAN:
        assert "Example" not in text_of(director.get(f"/days/{day_code}/paper/{kind}.pdf").content)


def test_no_private_link_is_on_a_page_or_a_public_sheet(director, database, day_code, page_of):
    with database.read() as session:
        tokens = [pilot.link_token for pilot in pilots.of_day(session, day_with(session, day_code).id or 0)]
    assert not any(token in page_of() for token in tokens)
    assert "whoever holds a card can press for its pilot" in page_of()


def test_before_publishing_the_page_says_what_comes_first(director, database):
    with database.write() as session:
        code = make_day(session).code
    html = director.get(f"/days/{code}/paper").text
    assert "No plan is published yet" in html
    assert f'href="/days/{code}/plan">Go to the channel plan</a>' in html
    assert re.findall(r"(\S+)\.png", html) == [f'src="/days/{code}/paper/check-in-form']
    assert "button--primary" not in html
    for kind in OF_A_PLAN:
        answer = director.get(f"/days/{code}/paper/{kind}.pdf")
        assert answer.status_code == 404
        assert "is published yet: publish one in Channel plan." in answer.text


def test_without_an_address_for_phones_the_page_says_why_there_are_no_codes(director, database):
    with database.write() as session:
        day = make_day(session)
        publish(session, day, [[(make_pilot(session, day), "R1")]])
    html = director.get(f"/days/{day.code}/paper").text
    assert "neither sheets nor cards have a code" in html
    assert "whoever holds a card" not in html


def test_a_day_too_large_for_one_page_says_so_in_place_of_the_button(director, database):
    with database.write() as session:
        day = make_day(session)
        publish(session, day, [[(make_pilot(session, day), "R1")]] * 19)
    html = director.get(f"/days/{day.code}/paper").text
    assert "One page holds 18 heats on 10 channels; here are 19 on 1." in html
    assert "one-page.pdf" not in html
    assert director.get(f"/days/{day.code}/paper/one-page.pdf").status_code == 422


def test_letters_that_cannot_be_printed_are_told_before_printing(director, database):
    unwritten = chr(0x1E2D0)  # of a script that hardly any font has
    with database.write() as session:
        day = make_day(session)
        publish(session, day, [[(make_pilot(session, day, f"Wren {unwritten}"), "R1")]])
    text = words_of(director.get(f"/days/{day.code}/paper").text)
    assert (
        f"1 letter of Wren {unwritten} cannot be printed here: paper shows a box to write in by hand." in text
    )


def test_the_blank_form_leads_to_the_days_join_page(director, day_code):
    text = text_of(director.get(f"/days/{day_code}/paper/check-in-form.pdf").content)
    assert f"192.168.8.2:8000/join/{day_code}" in text


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("heat-sheet.pdf?plan=9", 404),
        ("heat-sheet.pdf?section=name", 422),
        ("pilot-cards.pdf?paper=a3", 422),
        ("poster.pdf", 422),
    ],
)
def test_what_does_not_exist_is_refused_with_a_page(director, day_code, query, status):
    answer = director.get(f"/days/{day_code}/paper/{query}")
    assert answer.status_code == status
    assert "<h1>" in answer.text


def test_strangers_get_neither_page_nor_paper(client, day_code):
    assert client.get(f"/days/{day_code}/paper").status_code == 303
    for kind in KINDS:
        assert client.get(f"/days/{day_code}/paper/{kind}.pdf").status_code == 303
        assert client.get(f"/days/{day_code}/paper/{kind}.png").status_code == 303
