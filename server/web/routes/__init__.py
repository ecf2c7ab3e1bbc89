"""The routers that make up the application. A module that is not listed here is not served."""

from fastapi import APIRouter

from server.web.routes import access, board, days, health, heat_sheet, logbook, patterns, site, slots

ROUTERS: tuple[APIRouter, ...] = (
    access.router,
    board.router,
    days.router,
    health.router,
    heat_sheet.router,
    logbook.router,
    patterns.router,
    site.router,
    slots.router,
)
