"""The routes, one module a page; each adds itself and its place in the way around."""

from __future__ import annotations

import importlib

from fastapi import FastAPI

from dryslate.web.pages import PLACES

MODULES = (
    "home",
    "take",
    "upload",
    "clock",
    "photos",
    "photo",
    "photo_work",
    "corals",
    "naming",
    "second",
    "cards",
    "help",
    "people",
    "sign_in",
    "jobs",
)
"""Modules of routes in the order in which their places are listed."""


def add_routes(app: FastAPI) -> None:
    """Add every page."""
    PLACES.clear()
    for name in MODULES:
        module = importlib.import_module(f"dryslate.web.routes.{name}")
        app.include_router(module.router)
        PLACES.extend(getattr(module, "PLACES", ()))
