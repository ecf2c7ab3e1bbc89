import io
import shutil
import subprocess

import pytest
import typst
from pypdf import PdfReader

from server.services import paper, typesetting
from server.services.typesetting import as_pdf, first_page_png, letters_missing, page_count
from server.web.templating import make_templates
from tests.services.heat_sheet_plans import large_sheet, make_sheet

WORLD = ("Дрозд-рябинник", "Κορυδαλλός", "Ὀρφεύς", "Dvořák Łukasz", "Nguyễn Ế", "Ærø Şahin ẞ", "Її Ўў Љљ")
NEEDS_POPPLER = pytest.mark.skipif(not shutil.which("pdftotext"), reason="poppler-utils is not installed")


@pytest.fixture
def no_system_fonts(monkeypatch):
    """A computer that has no font but those that come along."""
    fonts = typst.Fonts(include_system_fonts=False, font_paths=[str(typesetting.paths.STATIC / "fonts")])
    monkeypatch.setattr(typesetting, "_fonts", lambda: fonts)
    typesetting._without_glyph.cache_clear()
    yield
    typesetting._without_glyph.cache_clear()


def documents():
    sheet = make_sheet(
        [
            [(name, label)]
            for name, label in zip(WORLD, ("R1", "R2", "R4", "F2", "E7", "R8", "F6"), strict=True)
        ]
    )
    template = make_templates().env.get_template("spectrum/drawing.svg")
    drawings = {heat["heat"]: template.render(chart=charts[0]) for heat, charts in sheet.spectra}
    return [
        paper.heat_sheet(sheet, ("heat", "pilot", "channel"), {}),
        paper.heat_sheet(sheet, ("heat", "spectrum"), drawings),
        paper.one_page(sheet),
        paper.pilot_cards_of(sheet, {}),
    ]


def test_drawn_names_need_no_font_of_the_system(no_system_fonts):
    page = PdfReader(io.BytesIO(as_pdf(documents()[1], "a4"))).pages[1]
    text = page.extract_text()
    assert all(name in text for name in ("Дрозд-рябинн", "Κορυδαλλός"))  # a drawing cuts a name short


def run(*command, stdin):
    return subprocess.run(command, input=stdin, capture_output=True, check=True).stdout.decode()


@NEEDS_POPPLER
def test_latin_greek_and_cyrillic_names_come_back_from_every_document(no_system_fonts):
    for document in documents():
        text = run("pdftotext", "-", "-", stdin=as_pdf(document, "a4"))
        assert all(name in text for name in WORLD)
        assert typesetting.MISSING_LETTER not in text


@pytest.mark.skipif(not shutil.which("zbarimg"), reason="zbar-tools is not installed")
@NEEDS_POPPLER
def test_the_codes_on_paper_are_read_as_the_addresses_they_stand_for(tmp_path):
    sheet = make_sheet([[("Wren", "R1"), ("Otter", "R8")]])
    links = {number: f"http://192.168.8.2:8000/slot/o7Wc2beDGhaegF7jca145{number}" for number in (1, 2)}
    for document, addresses in (
        (paper.heat_sheet(sheet, ("heat",), {}), {"http://192.168.8.2:8000/board/tern"}),
        (paper.pilot_cards_of(sheet, links), set(links.values())),
    ):
        run(
            "pdftoppm",
            "-r",
            "150",
            "-gray",
            "-png",
            "-",
            str(tmp_path / "page"),
            stdin=as_pdf(document, "a4"),
        )
        read = run("zbarimg", "-q", "--raw", str(tmp_path / "page-1.png"), stdin=b"")
        assert set(read.split()) == addresses


@NEEDS_POPPLER
def test_every_font_is_embedded(tmp_path):
    for document in documents():
        file = tmp_path / "paper.pdf"
        file.write_bytes(as_pdf(document, "a4"))
        rows = run("pdffonts", str(file), stdin=b"").splitlines()[2:]
        assert len(rows) >= 3
        assert all(row.split()[-5] == "yes" for row in rows)  # emb sub uni object ID


def test_letters_without_a_font_are_named(no_system_fonts):
    assert letters_missing(["Wren", *WORLD]) == frozenset()
    assert letters_missing(["Wren 山田", "한"]) == {"山", "田", "한"}


def test_a_letter_without_a_font_is_a_box_that_is_counted_beside_its_name(no_system_fonts):
    sheet = make_sheet([[("山田 Taro", "R1"), ("Rook 山", "R2")]])
    for document in (paper.heat_sheet(sheet, ("heat",), {}), paper.pilot_cards_of(sheet, {})):
        page = PdfReader(io.BytesIO(as_pdf(document, "a4"))).pages[0]
        text = " ".join(page.extract_text().split())
        assert "□□ Taro 2 letters cannot be printed here: write them in" in text
        assert "Rook □ 1 letter cannot be printed here: write it in" in text
    assert paper.names_not_drawn(sheet) == [("Rook 山", 1), ("山田 Taro", 2)]


def test_every_page_with_a_box_says_at_its_foot_what_it_stands_for(no_system_fonts):
    words = "□ stands for a letter that cannot be printed on this computer: write it in."
    for callsign, count in (("Rook 山", 1), ("Rook", 0)):
        sheet = make_sheet([[(callsign, "R1")]])
        for document in (
            paper.channel_cards(sheet),
            paper.one_page(sheet),
            paper.heat_sheet(sheet, ("heat",), {}),
        ):
            (page,) = PdfReader(io.BytesIO(as_pdf(document, "letter"))).pages
            assert " ".join(page.extract_text().split()).count(words) == count


def test_the_number_of_pages_is_known_beforehand():
    sheet = large_sheet([f"Wren {number}" for number in range(64)], 2)
    for document in (paper.heat_sheet(sheet, ("heat", "pilot"), {}), paper.channel_cards(sheet)):
        assert page_count(document, "letter") == len(PdfReader(io.BytesIO(as_pdf(document, "letter"))).pages)


@pytest.mark.parametrize(("size", "pixels"), [("a4", (298, 421)), ("letter", (306, 396))])
def test_a_preview_is_a_picture_of_the_first_page(size, pixels):
    picture = first_page_png(documents()[0], size, 36)
    assert picture.startswith(b"\x89PNG")
    assert (int.from_bytes(picture[16:20]), int.from_bytes(picture[20:24])) == pixels
