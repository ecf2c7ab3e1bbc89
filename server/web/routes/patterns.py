"""The page that shows every element, for whoever builds or judges a page."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

router = APIRouter()


@router.get("/patterns", response_class=HTMLResponse)
def patterns(request: Request) -> HTMLResponse:
    return request.app.state.templates.TemplateResponse(request, "patterns.html", {})
