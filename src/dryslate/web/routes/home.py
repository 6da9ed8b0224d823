"""Left to do: the first page, which a server also shows before all else is loaded."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from dryslate.web.left_page import left_page

router = APIRouter()
router.add_api_route("/", left_page, response_class=HTMLResponse)
