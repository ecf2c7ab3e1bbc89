"""Fragments of live pages: one markup for the first load, for each message and for slow polling."""

import hashlib

from fastapi import Request
from fastapi.responses import JSONResponse, Response
from fastapi.templating import Jinja2Templates

from server.services.board import Board
from server.services.line_desk import LineDesk
from server.services.live import Shown
from server.services.trouble_views import TroubleDesk
from server.services.turn_views import DeskOfTurns
from server.web.stream import State, state_event


class Fragments:
    def __init__(self, templates: Jinja2Templates) -> None:
        self._templates = templates

    def state(self, shown: Shown) -> State:
        if isinstance(shown, Board):
            return State(shown.order, self._render("board/_board.html", board=shown))
        if isinstance(shown, DeskOfTurns):
            return State(shown.order, self._render("open_flying/_desk.html", desk=shown))
        if isinstance(shown, LineDesk):
            return State(shown.order, self._render("line/_line.html", desk=shown))
        if isinstance(shown, TroubleDesk):
            return State(shown.order, self._render("trouble/_desk.html", desk=shown))
        return State(shown.order, self._render("slot/_slot.html", slot=shown))

    def message(self, shown: Shown) -> bytes:
        return state_event(self.state(shown))

    def _render(self, template: str, **names: object) -> str:
        return self._templates.env.get_template(template).render(names)


def answer_poll(request: Request, state: State) -> Response:
    """The state for pages whose streams do not come through; 304 where the page has it already."""
    digest = hashlib.sha256(state.html.encode()).hexdigest()[:16]
    # `no-cache`, unlike `no-store`, lets the browser keep the answer and ask whether it still holds.
    headers = {"ETag": f'"{state.order}-{digest}"', "Cache-Control": "private, no-cache"}
    if request.headers.get("If-None-Match", "").removeprefix("W/") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    return JSONResponse({"order": state.order, "html": state.html}, headers=headers)
