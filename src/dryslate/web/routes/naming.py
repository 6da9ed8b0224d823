"""Naming a coral: one question at a time, and saving who called it what."""

from __future__ import annotations

from typing import Annotated, Any, Literal, cast

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate import wiring
from dryslate.app import coral_page, lookalikes
from dryslate.app.identify import Identifier, all_at_once, cautions_of, open_identifier
from dryslate.app.identify_records import NameRequest, name_record
from dryslate.app.identify_request import parse_record
from dryslate.app.team_hit_rate import TeamHitRate, team_hit_rate
from dryslate.web.in_hand import InHand
from dryslate.web.languages import language_of
from dryslate.web.naming_words import CONFIDENCE, STATE_KEYS, answer_words, state_words
from dryslate.web.pages import page
from dryslate.web.reach import Reach, observer_of, reach_of, session_of
from dryslate.web.roles import WORK
from dryslate.web.routes.corals import RecordId
from dryslate.web.said import value
from dryslate.web.taxon_names import genera_of

router = APIRouter()
States = dict[
    Annotated[str, Field(max_length=60)],
    Annotated[list[Annotated[str, Field(max_length=60)]], Field(max_length=30)],
]


class EvidenceBody(BaseModel):
    """What was seen of a coral so far."""

    seen: States = {}
    not_seen: Annotated[States, Field(alias="not")] = {}
    unclear: Annotated[list[Annotated[str, Field(max_length=60)]], Field(max_length=100)] = []
    sizes_mm: dict[Annotated[str, Field(max_length=60)], tuple[float, float]] = {}
    juvenile: bool = False

    def as_record(self) -> dict[str, Any]:
        """Return it as the use cases read it."""
        found: dict[str, Any] = {
            "seen": self.seen,
            "not": self.not_seen,
            "unclear": self.unclear,
            "juvenile": self.juvenile,
        }
        return {**found, "sizes_mm": {k: list(v) for k, v in self.sizes_mm.items()}}


class WeighBody(BaseModel):
    """Evidence, the character that is to be answered next, and whether genera count alike."""

    evidence: EvidenceBody
    asked: Annotated[str, Field(max_length=60)] = ""
    all_equal: bool = False


class NameBody(BaseModel):
    """A name with how sure, on what evidence, and whether genera counted alike."""

    name: Annotated[str, Field(max_length=200)]
    qualifier: Literal["", "cf.", "aff."] = ""
    confidence: Annotated[int, Field(ge=1, le=5)]
    evidence: EvidenceBody
    all_equal: bool = False

    def written(self) -> str:
        """Return the name as it is recorded."""
        return f"{self.qualifier} {self.name}".strip()


def identifier_of(reach: Reach, all_equal: bool = False) -> Identifier:
    """Return what weighs evidence in this server's project, loaded once."""
    return cast(
        Identifier,
        reach.keep(
            "identifier, all equal" if all_equal else "identifier",
            lambda: open_identifier(
                reach.settings.project,
                None,
                wiring.reference_tables,
                wiring.project_folders(),
                lambda folder: wiring.survey_store(folder, write=False),
                all_equal=all_equal,
            ),
        ),
    )


def in_hand_of(reach: Reach) -> InHand:
    """Return who has what in hand."""
    return cast(InHand, reach.keep("in hand", InHand))


def name_request(
    record_id: str, body: NameBody, observer: str, sheet: coral_page.CoralSheet
) -> NameRequest:
    """Put what was said into one request."""
    evidence, problems = parse_record(body.evidence.as_record())
    if any(p.severity == "error" for p in problems):
        raise all_at_once(problems)
    has_any = evidence.seen or evidence.not_seen or evidence.unclear or evidence.sizes
    return NameRequest(
        record=record_id,
        name=body.written(),
        observer=observer,
        confidence=body.confidence,
        evidence=evidence if has_any else None,
        photo_regions=sheet.photo_regions,
    )


def naming_page(
    request: Request, sheet: coral_page.CoralSheet, is_blind: bool, rate: str, onward: str = ""
) -> HTMLResponse:
    """Show the page on which a coral is named, first or blind, and where it goes on from there."""
    reach = reach_of(request)
    identifier = identifier_of(reach)
    region = identifier.choice.region
    start = {
        "record": sheet.record.record_id,
        "observer": session_of(request).observer,
        "sizes_mm": sheet.sizes_mm,
        "juvenile": bool(sheet.record.is_juvenile),
        "save": f"/{'second' if is_blind else 'corals'}/{sheet.record.record_id}/names",
        "keys": STATE_KEYS,
        "is_blind": is_blind,
        "onward": onward,
        "genera": sorted(genera_of(reach)),
    }
    shown: dict[str, Any] = {"sheet": sheet, "start": start, "is_blind": is_blind}
    shown |= {"rate": rate, "region": region}
    shown["measures"] = ("corallite_diameter", "valley_width")
    names = sorted(identifier.model(region).genera)
    return page(request, "naming.html", 200, names=names, confidence=CONFIDENCE, **shown)


@router.get("/corals/{record_id}/name", response_class=HTMLResponse, dependencies=WORK)
def naming(
    request: Request,
    record_id: RecordId,
    came_from: Annotated[Literal["", "photo"], Query(alias="from")] = "",
) -> Response:
    """
    Show the page on which a coral is named; a blind look that is owed comes first.

    Who came from a photo goes back there: it may show more corals.
    """
    reach, observer = reach_of(request), session_of(request).observer
    with reach.reading() as store:
        sheet = coral_page.coral_sheet(store, record_id)
        if observer and record_id in coral_page.hidden_names(store, observer):
            return RedirectResponse(f"/second/{record_id}", 303)
        rate = team_hit_rate(store)
    held = in_hand_of(reach).take(record_id, observer) if observer else None
    if held is not None:
        return page(request, "in_hand.html", 200, held=held, record=sheet.record)
    onward = f"/photos/{sheet.photo.photo_id}" if came_from and sheet.photo else ""
    return naming_page(request, sheet, is_blind=False, rate=rate_words(rate), onward=onward)


def rate_words(rate: TeamHitRate) -> str:
    """Return how often the team is right, once enough corals are verified; else nothing."""
    return rate.words() if rate.hit_rate.rate is not None else ""


@router.post("/corals/{record_id}/let-go")
def let_go(request: Request, record_id: RecordId) -> dict[str, bool]:
    """Let go of a coral that was in hand."""
    in_hand_of(reach_of(request)).let_go(record_id, observer_of(request))
    return {"done": True}


@router.post("/corals/{record_id}/take-over")
def take_over(request: Request, record_id: RecordId) -> RedirectResponse:
    """Take a coral in hand that somebody else has."""
    in_hand_of(reach_of(request)).take(record_id, observer_of(request), by_force=True)
    return RedirectResponse(f"/corals/{record_id}/name", 303)


@router.post("/weigh")
def weigh(request: Request, body: WeighBody) -> dict[str, Any]:
    """Say what the evidence so far tells of a coral, and what to look at next."""
    identifier = identifier_of(reach_of(request), body.all_equal)
    evidence, said = parse_record(body.evidence.as_record())
    answer, problems = identifier.answer(evidence, said)
    if answer is None:
        raise all_at_once(problems)
    words = answer_words(request, identifier, answer, body.asked)
    language = language_of(request)
    cautions = cautions_of(answer, identifier.taxa)
    return {**words, "cautions": [value(language, one, of_data=True) for one in cautions]}


@router.post("/corals/{record_id}/names")
def save(request: Request, record_id: RecordId, body: NameBody) -> dict[str, Any]:
    """Save what a coral is called."""
    reach, observer = reach_of(request), observer_of(request)
    identifier, now = identifier_of(reach, body.all_equal), wiring.clock().now_utc()
    with reach.writing(observer) as store:
        sheet = coral_page.coral_sheet(store, record_id)
        wanted = name_request(record_id, body, observer, sheet)
        named = name_record(store, identifier, wanted, now)
        following = coral_page.next_without_name(store, record_id)
    in_hand_of(reach).let_go(record_id, observer)
    to = f"/corals/{following}/name" if following else "/"
    called = f"{sheet.record.colony}: {named.row.name or named.row.name_as_recorded}"
    said = {"said": named.words(), "called": called}
    return {**said, "next": to, "id": named.row.identification_id}


@router.get("/lookalikes", response_class=HTMLResponse)
def side_by_side(
    request: Request,
    a: Annotated[str, Query(max_length=80)],
    b: Annotated[str, Query(max_length=80)],
    px_per_mm: Annotated[float | None, Query(gt=0, le=1e4)] = None,
) -> HTMLResponse:
    """Put two genera side by side, what differs first."""
    reach = reach_of(request)
    tables = wiring.reference_tables(reach.settings.project)
    with reach.reading() as store:
        region = store.region()
    found, problems = lookalikes.compare(tables, (a, b), px_per_mm, region)
    document = lookalikes.comparison_as_dict(found, problems)
    rows = [*document["differs"], *document["alike"]]
    looks = state_words(request, identifier_of(reach), {row["character"] for row in rows})
    return page(request, "lookalikes.html", 200, found=document, looks=looks)
