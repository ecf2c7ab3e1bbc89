"""The routers that make up the application. A module that is not listed here is not served."""

from fastapi import APIRouter

from server.web.routes import (
    access,
    bench,
    board,
    check_in,
    day_changes,
    days,
    health,
    heat_sheet,
    imports,
    join,
    line,
    logbook,
    looks,
    open_flying,
    outside_signals,
    patterns,
    pilots,
    plans,
    site,
    slots,
    spectrum,
    trouble,
)

ROUTERS: tuple[APIRouter, ...] = (
    access.router,
    bench.router,
    board.router,
    check_in.router,
    day_changes.router,
    days.router,
    health.router,
    heat_sheet.router,
    imports.router,
    join.router,
    line.router,
    logbook.router,
    looks.router,
    open_flying.router,
    outside_signals.router,
    patterns.router,
    pilots.router,
    spectrum.router,  # before the plans, whose numbers would take its address
    plans.router,
    site.router,
    slots.router,
    trouble.router,
)
