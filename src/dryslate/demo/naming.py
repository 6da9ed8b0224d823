"""The corals of the made-up trip are named, looked at again blind, and settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from dryslate import wiring
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import NameRequest, name_record
from dryslate.app.note_records import NoteRequest, note_record
from dryslate.app.ports import SurveyStore
from dryslate.app.review_draw import draw_queue
from dryslate.app.review_state import count_looks
from dryslate.app.second_observer import blind_queue, look_again
from dryslate.app.settling import open_reviews, settle
from dryslate.app.standing_names import standing_names
from dryslate.core.identify.confidence import P_STATED
from dryslate.core.identify.evidence import Evidence, Size
from dryslate.demo.sightings import Sighting, look_at

REGION = "indo_pacific"
SECOND, THIRD = "Ruza", "Odalys"
"""Made-up people who look again; neither dived."""
P_GENUS, P_FAMILY = 0.5, 0.7
"""From what probability an observer of the trip writes a genus, or else a family."""
UNKNOWN = "stony coral, not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """
    How the names came out against the truth.

    Parameters
    ----------
    n, n_slips : int
        Corals named, and characters that the first observers noted wrongly.
    n_in_set : int
        Of them, those whose true genus was in the 95 % set of the first evidence.
    n_genus, n_genus_right : int
        First names at genus, and right ones.
    n_drawn, n_agreed, n_fitting, n_settled : int
        Drawn for a second look; the same name; a coarser or finer one that fits; settled since.
        Looked at again; agreed; decided by a third.
    n_standing, n_standing_right : int
        Names at genus that hold in the end, and right ones.
    """

    n: int
    n_slips: int
    n_in_set: int
    n_genus: int
    n_genus_right: int
    n_drawn: int
    n_agreed: int
    n_fitting: int
    n_settled: int
    n_standing: int
    n_standing_right: int

    def rows(self) -> list[tuple[str, str]]:
        """Return it as rows of a table."""
        return [
            (
                "first looks",
                f"{self.n} corals, {self.n_slips} characters noted wrongly; the 95 % set holds the "
                f"true genus in {self.n_in_set}",
            ),
            ("named to genus at first", f"{self.n_genus}, {self.n_genus_right} of them right"),
            (
                "second looks, blind",
                f"{self.n_drawn} drawn, {self.n_agreed} agreed, {self.n_fitting} coarser or finer, "
                f"{self.n_settled} settled by a third observer",
            ),
            (
                "named to genus in the end",
                f"{self.n_standing}, {self.n_standing_right} of them right",
            ),
        ]


@dataclass(frozen=True, slots=True)
class _Team:
    """What the observers of the trip work with."""

    store: SurveyStore
    identifier: Identifier
    corals: Mapping[str, Mapping[str, Any]]
    sizes: Mapping[str, Size]
    seed: int

    def look(self, colony: str, observer: str) -> Sighting:
        """One observer's own look at a coral."""
        coral = self.corals[colony]
        who = sum(observer.encode("utf-8"))
        rng = np.random.default_rng([self.seed, 70_000 + int(coral["number"]), who])
        return look_at(
            coral, observer, self.sizes.get(str(coral["colony"])), self.identifier.taxa, rng
        )

    def request(self, colony: str, observer: str, evidence: Evidence) -> NameRequest:
        """What an observer writes down who trusts the evidence as far as it goes."""
        name, p = self.name_of(evidence)
        keys = [key for key, stated in P_STATED.items() if stated <= p]
        return NameRequest(
            record=colony,
            name=name,
            observer=observer,
            photo=str(self.corals[colony]["photo"]),
            confidence=max(keys, default=1),
            evidence=evidence,
            region=REGION,
            at=_time(str(self.corals[colony]["date"])),
        )

    def name_of(self, evidence: Evidence) -> tuple[str, float]:
        """A genus, a family or no more, with its probability."""
        answer, _ = self.identifier.answer(evidence)
        if answer is None:
            return UNKNOWN, P_STATED[1]
        first = answer.ranked[0]
        if first.probability >= P_GENUS:
            return first.genus, first.probability
        families: dict[str, float] = {}
        for ranked in answer.ranked:
            families[ranked.family] = families.get(ranked.family, 0.0) + ranked.probability
        family = max(families, key=lambda f: families[f])
        if families[family] >= P_FAMILY:
            return family, families[family]
        genera = self.identifier.taxa.genera
        stony = [r.probability for r in answer.ranked if genera[r.genus].group == "stony"]
        return UNKNOWN, sum(stony)


def name_corals(project: Path, truth: Sequence[Mapping[str, Any]], seed: int) -> Naming:
    """
    Name every coral of the trip, draw and make second looks, and let a third decide.

    Parameters
    ----------
    project : Path
    truth : sequence of Mapping
        One a photo, as the renderer wrote it.
    seed : int

    Returns
    -------
    Naming

    Notes
    -----
    Each observer notes what the coral shows, with slips of their own, and sizes come from the
    corallites as measured. Run again, nothing is stored twice.
    """
    with wiring.survey_store(project, write=True) as store:
        store.save_region(REGION)
        identifier = Identifier(wiring.reference_tables(project), region=REGION)
        team = _Team(store, identifier, _corals(truth), _sizes(store), seed)
        slips, in_set = 0, 0
        for colony, coral in team.corals.items():
            sighting = team.look(colony, str(coral["observer"]))
            slips += len(sighting.slips)
            answer, _ = identifier.answer(sighting.evidence)
            in_set += answer is not None and coral["genus"] in answer.set95
            _note(team, colony, sighting)
            request = team.request(colony, str(coral["observer"]), sighting.evidence)
            name_record(store, identifier, request, str(request.at))
        last = _time(max(str(c["date"]) for c in team.corals.values()))
        draw_queue(store, SECOND, last, seed=seed)
        _second_looks(team)
        return _naming(team, slips, in_set)


def _note(team: _Team, colony: str, sighting: Sighting) -> None:
    """Note the coral itself: its growth form apart from any name."""
    coral = team.corals[colony]
    (form,) = sighting.evidence.seen["growth_form"]
    when = _time(str(coral["date"]))
    note_record(
        team.store,
        team.identifier.taxa,
        NoteRequest(
            colony=colony,
            observer=str(coral["observer"]),
            photo=str(coral["photo"]),
            growth_form=form,
            at=when,
        ),
        when,
    )


def _second_looks(team: _Team) -> None:
    """Make every look that is owed: the second, blind, and the third where two differ."""
    for waiting in blind_queue(team.store, SECOND):
        colony = waiting.record.colony
        request = team.request(colony, SECOND, team.look(colony, SECOND).evidence)
        look_again(team.store, team.identifier, request, str(request.at))
    for doc in open_reviews(team.store):
        colony = str(doc["colony"])
        request = team.request(colony, THIRD, team.look(colony, THIRD).evidence)
        settle(team.store, team.identifier, request, str(request.at))


def _corals(truth: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, Any]]:
    """Each coral once, in the photo where its corallites, or else its outline, were measured."""
    found: dict[str, dict[str, Any]] = {}
    wish = {"corallites": 2, "outline": 1}
    best: dict[str, int] = {}
    for doc in sorted(truth, key=lambda d: (d["date"], d["photo"])):
        measured = {row["colony"]: wish.get(row["kind"], 0) for row in doc["to_measure"]}
        for coral in doc["colonies"]:
            name = coral["colony"]
            rank = measured.get(name, -1 if coral["whole_in_frame"] else -2)
            if rank <= best.get(name, -3):
                continue
            best[name] = rank
            found[name] = {**coral, **{k: doc[k] for k in ("photo", "date", "observer")}}
    return {name: {**found[name], "number": k} for k, name in enumerate(sorted(found))}


def _sizes(store: SurveyStore) -> dict[str, Size]:
    """Mean corallite of each colony as measured."""
    found: dict[str, Size] = {}
    for row in store.measurements():
        value = row.values.get("corallite_mm")
        if row.kind == "corallites" and value is not None:
            size = Size(value_mm=float(value), u_mm=float(row.values["corallite_mm_u"]))
            if row.colony not in found or size.u_mm < found[row.colony].u_mm:
                found[row.colony] = size
    return found


def _time(date: str) -> str:
    """The evening of a day of the trip."""
    return f"{date}T18:30:00+00:00"


def _naming(team: _Team, n_slips: int, n_in_set: int) -> Naming:
    """Hold the names against the truth."""
    store = team.store
    genus = {name: str(coral["genus"]) for name, coral in team.corals.items()}
    colony_of = {r.record_id: r.colony for r in store.records()}
    first = [i for i in store.identifications() if i.role == "first" and i.rank == "genus"]
    looks = count_looks(store)
    standing = [s for s in standing_names(store) if s.rank == "genus"]
    return Naming(
        n=len(team.corals),
        n_slips=n_slips,
        n_in_set=n_in_set,
        n_genus=len(first),
        n_genus_right=sum(i.name == genus[colony_of[i.record_id]] for i in first),
        n_drawn=sum(c.is_drawn for c in store.review_chances()),
        n_agreed=looks.same,
        n_fitting=looks.coarser + looks.finer,
        n_settled=looks.n_third,
        n_standing=len(standing),
        n_standing_right=sum(s.name == genus[s.record.colony] for s in standing),
    )
