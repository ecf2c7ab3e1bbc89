"""The routers that make up the application. A module that is not listed here is not served."""

from fastapi import APIRouter

from server.web.routes import access, health, logbook, patterns

ROUTERS: tuple[APIRouter, ...] = (
    access.router,
    health.router,
    logbook.router,
    patterns.router,
)
