"""Light or dark pages: as the computer has it, or as the person chose in this browser."""

from __future__ import annotations

from starlette.requests import Request

LIGHTS = ("auto", "light", "dark")


def light_of(request: Request) -> str:
    """Return what the browser's cookie says; ``auto`` where it says nothing that is known."""
    light = request.cookies.get("light", "auto")
    return light if light in LIGHTS else "auto"
