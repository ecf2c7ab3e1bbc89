"""QR codes of addresses, as drawings for screens and paper."""

import io

import segno

# M survives a crease or a drop of rain; 4 modules of white are what the standard asks for.
_ERROR_LEVEL, _WHITE_MODULES = "m", 4


def qr_svg(address: str) -> str:
    """The code of a whole address, http:// included, as an SVG without size: what shows it decides."""
    drawing = io.BytesIO()
    code = segno.make(address, error=_ERROR_LEVEL, micro=False)
    code.save(drawing, kind="svg", border=_WHITE_MODULES, xmldecl=False, omitsize=True, light="#fff")
    return drawing.getvalue().decode().strip()
