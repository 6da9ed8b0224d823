"""The routes, one module a page; each adds itself."""

from __future__ import annotations

import importlib

from fastapi import FastAPI

MODULES = (
    "home",
    "take",
    "upload",
    "clock",
    "backup",
    "photos",
    "units",
    "visit",
    "unit",
    "photo",
    "photo_work",
    "photo_card",
    "photo_point",
    "photo_define",
    "new_coral",
    "corals",
    "colonies",
    "colony_frames",
    "colony_ties",
    "loggers",
    "naming",
    "second",
    "records",
    "plan",
    "entry",
    "record_import",
    "points",
    "record_table",
    "categories",
    "survey_report",
    "results",
    "change",
    "archive",
    "cards",
    "sheets",
    "help",
    "people",
    "sign_in",
    "jobs",
)
"""Modules of routes; what is listed at the top of each page is in `dryslate.web.places`."""


def add_routes(app: FastAPI) -> None:
    """Add every page."""
    for name in MODULES:
        module = importlib.import_module(f"dryslate.web.routes.{name}")
        app.include_router(module.router)
