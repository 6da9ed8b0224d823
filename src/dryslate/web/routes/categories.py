"""The project's benthic categories: the list with its definitions, and changing it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate.app.category_edit import CategoryForm, changed_list, uses_of
from dryslate.app.category_list import newest_version, set_categories
from dryslate.base.errors import InputError
from dryslate.web.entry_desk import tools_of
from dryslate.web.errors import problem_of_error, status_of
from dryslate.web.pages import page
from dryslate.web.reach import observer_of, reach_of

router = APIRouter()
MOST = 300


async def category_forms(request: Request) -> tuple[list[CategoryForm], int]:
    """Read the lines of the form, and which version they were made from."""
    form = await request.form(max_fields=5 * MOST + 10)
    columns = {
        name: [str(value)[:2000] for value in form.getlist(name)]
        for name in ("was", "category", "group", "hard", "definition", "instead")
    }
    lines = [
        CategoryForm(
            was=was, category=category, group=group, is_hard=hard, definition=text, instead=instead
        )
        for was, category, group, hard, text, instead in zip(*columns.values(), strict=True)
    ]
    return lines, int(str(form.get("version", "0")) or 0)


Forms = Annotated[tuple[list[CategoryForm], int], Depends(category_forms)]


@router.get("/records/categories", response_class=HTMLResponse)
def categories(
    request: Request,
    version: Annotated[int, Query(ge=0, le=100_000)] = 0,
    change: bool = False,
) -> HTMLResponse:
    """Show a version of the list, or the form that changes the newest."""
    return _categories_page(request, version, is_changing=change)


@router.post("/records/categories")
def save(request: Request, said: Forms) -> Response:
    """Store a new version of the list."""
    lines, version = said
    observer, usual = observer_of(request), tools_of(reach_of(request)).usual
    try:
        with reach_of(request).writing(observer) as store:
            if version != (newest_version(store) or 0):
                raise InputError(
                    "changed-meanwhile",
                    "Somebody changed the list of categories meanwhile; nothing was changed now.",
                    "Load the page again and look at what holds.",
                )
            with store.write():
                if version == 0:
                    set_categories(store, usual)
                found, renamed = changed_list(lines)
                set_categories(store, found, renamed)
    except InputError as error:
        return _categories_page(request, 0, is_changing=True, typed=lines, error=error)
    return RedirectResponse("/records/categories", 303)


def _categories_page(
    request: Request,
    version: int,
    *,
    is_changing: bool,
    typed: list[CategoryForm] | None = None,
    error: InputError | None = None,
) -> HTMLResponse:
    """Show the page; with what was typed where it was refused."""
    usual = tools_of(reach_of(request)).usual
    with reach_of(request).reading() as store:
        newest = newest_version(store) or 0
        shown_version = version or newest
        known = store.categories(shown_version) if newest else tuple(usual)
        uses = uses_of(store)
        mappings = [m for m in store.category_mappings() if m.to_version == shown_version]
    lines = typed or [CategoryForm.of(one) for one in known]
    lines = [*lines, *(CategoryForm() for _ in range(0 if typed else 3))]
    shown: dict[str, Any] = {"newest": newest, "version": shown_version, "known": known}
    shown["usual"] = {one.definition for one in usual}
    shown |= {"uses": uses, "lines": lines, "is_changing": is_changing}
    shown["renamed"] = [m for m in mappings if m.category != m.to_category]
    shown["problem"] = problem_of_error(error) if error is not None else None
    status = 200 if error is None else status_of(error)
    return page(request, "categories.html", status, **shown)
