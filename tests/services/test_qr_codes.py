import re

import segno

from server.services.qr_codes import qr_svg

ADDRESS = "http://192.168.8.2:8000/join/tern"


def cells_of(svg: str) -> set[tuple[int, int]]:
    """Column and row of each dark cell: the drawing is one line of strokes a row."""
    column, row, cells = 0, 0, set()
    path = re.search(r'stroke="#000" d="M([^"]+)"', svg)[1]
    for command, first, second in re.findall(r"([Mmh]?)(-?[\d.]+)(?: (-?[\d.]+))?", path):
        if command == "h":
            cells.update((x, row) for x in range(column, column + int(first)))
            column += int(first)
        else:
            column, row = column + int(first), row + int(float(second))
    return cells


def test_the_code_is_the_address_with_four_white_cells_around_it():
    code = segno.make(ADDRESS, error="m", micro=False)
    dark = {(x + 4, y + 4) for y, line in enumerate(code.matrix) for x, cell in enumerate(line) if cell}
    svg, side = qr_svg(ADDRESS), len(code.matrix) + 8
    assert cells_of(svg) == dark
    assert f'viewBox="0 0 {side} {side}"' in svg


def test_the_drawing_needs_no_inline_style_and_leaves_its_size_to_the_page():
    svg = qr_svg(ADDRESS)
    assert svg.startswith("<svg ")
    assert "style=" not in svg
    assert not re.search(r"<svg[^>]*\s(width|height)=", svg)
