"""Name one coral from what was seen of it: checks, the answer, and how sure it is."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate.app.data_folder import require_data_folder
from dryslate.app.identify_check import QuickCheck, ask_unit
from dryslate.app.new import ProjectFolders
from dryslate.app.ports import ReferenceTables, SurveyStore
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, has_error, problem_of
from dryslate.core.identify.answer import (
    Answer,
    AnswerSettings,
    answer_to_dict,
    identify,
    with_problems,
)
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.model import Model, build_model
from dryslate.core.identify.observer import ErrorRates
from dryslate.core.identify.taxa import TaxaData

DEFAULT_REGION = "indo_pacific"
FULL = AnswerSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionChoice:
    """
    The region that is taken where none is stated with a coral.

    Parameters
    ----------
    region : str
    words : str
        Why this one.
    is_stated : bool
        Whether somebody chose it: the person who asks, or the project.
    """

    region: str
    words: str
    is_stated: bool


class Identifier:
    """
    Answers for corals of any region, each region's model made once.

    Parameters
    ----------
    tables : ReferenceTables
        Of a project, or the built-in ones.
    built_in_regions : collection of str or None
        Regions that ship with the program, so that a project's own one can be told; None: there is
        no project.
    region : str or None
        As stated by the person who asks, or by the project; None: the one region that the
        project's own tables are about, else `DEFAULT_REGION`.
    region_words : str
        Who stated it.
    all_equal : bool
        Every genus of a region counts as equally common.

    Raises
    ------
    FormatError
        ``error-rates-broken``.
    """

    def __init__(
        self,
        tables: ReferenceTables,
        built_in_regions: Collection[str] | None = None,
        region: str | None = None,
        region_words: str = "as given",
        *,
        all_equal: bool = False,
    ) -> None:
        self.taxa, self.table_problems = tables.taxa()
        self._rates: ErrorRates = tables.error_rates()
        self.choice = choose_region(region, self.taxa, built_in_regions, region_words)
        self.check = QuickCheck(self.taxa)
        self.is_all_equal = all_equal
        self._models: dict[str, Model] = {}

    def model(self, region: str) -> Model:
        """
        Return the model of a region.

        Raises
        ------
        InputError
            ``identify-region-unknown``, ``identify-region-empty``.
        """
        if region not in self._models:
            self._models[region] = build_model(
                self.taxa, self._rates, region, all_equal=self.is_all_equal
            )
        return self._models[region]

    def region_of(self, evidence: Evidence) -> str:
        """Return the region that an evidence is judged in."""
        return self.choice.region if evidence.region is None else evidence.region

    def faults_of(self, evidence: Evidence) -> list[Problem]:
        """Return all that is wrong with an evidence and with its region."""
        found = self.check(evidence)
        if not has_error(found):
            try:
                self.model(self.region_of(evidence))
            except InputError as error:
                found.append(problem_of(error, "region"))
        return found

    def answer(
        self, evidence: Evidence, said: Sequence[Problem] = (), *, in_cm: Collection[str] = ()
    ) -> tuple[Answer | None, list[Problem]]:
        """
        Name one coral.

        Parameters
        ----------
        evidence : Evidence
        said : sequence of Problem
            What was wrong with it before.
        in_cm : collection of str
            Measures that were typed in centimetres.

        Returns
        -------
        answer : Answer or None
            None where the evidence cannot be used.
        problems : list of Problem
            All of them, at once.
        """
        found = [*said, *self.faults_of(evidence)]
        if has_error(found):
            return None, found
        model = self.model(self.region_of(evidence))
        found += ask_unit(evidence, model, in_cm)
        at_home = _in_region(evidence, model.region)
        answer = with_problems(identify(at_home, model, FULL), found)
        return answer, list(answer.problems)


def open_identifier(
    project: Path | None,
    region: str | None,
    tables_of: Callable[[Path | None], ReferenceTables],
    folders: ProjectFolders,
    open_store: Callable[[Path], SurveyStore],
    *,
    all_equal: bool = False,
) -> Identifier:
    """
    Open the genus data, those of a project over the built-in ones.

    Parameters
    ----------
    project : Path or None
        A project, or a folder with a ``taxa`` folder in it.
    region : str or None
        As of `Identifier`.
    tables_of : callable
        Opens the tables of a project, or the built-in ones.
    folders : ProjectFolders
    open_store : callable
        Opens a project's records for reading.
    all_equal : bool
        As of `Identifier`.

    Returns
    -------
    Identifier
        With the region that the project states, where none was asked for.

    Raises
    ------
    InputError
        ``project-not-found`` where the folder is neither.
    StoreError
        Where the project's records cannot be read.
    """
    if project is None:
        return Identifier(tables_of(None), None, region, all_equal=all_equal)
    is_project = require_data_folder(project, folders)
    built_in = tables_of(None).taxa()[0].regions
    if region is None and is_project:
        with closing(open_store(project)) as store:
            stated = store.region()
        words = "as the project states"
        return Identifier(tables_of(project), built_in, stated, words, all_equal=all_equal)
    return Identifier(tables_of(project), built_in, region, all_equal=all_equal)


def _in_region(evidence: Evidence, region: str | None) -> Evidence:
    """Return the evidence with the region it is judged in."""
    return Evidence(
        region=region,
        seen=evidence.seen,
        not_seen=evidence.not_seen,
        unclear=evidence.unclear,
        sizes=evidence.sizes,
        is_juvenile=evidence.is_juvenile,
    )


def choose_region(
    asked: str | None,
    taxa: TaxaData,
    built_in: Collection[str] | None = None,
    asked_words: str = "as given",
) -> RegionChoice:
    """
    Choose the region that corals without one are judged in.

    Parameters
    ----------
    asked : str or None
        As stated by the person who asks, or by the project.
    taxa : TaxaData
    built_in : collection of str or None
        Regions that ship with the program; None: there is no project.
    asked_words : str
        Who stated it.

    Returns
    -------
    RegionChoice
        What was asked for; else the one region that the project adds or gives frequencies for;
        else the Indo-Pacific.
    """
    if asked is not None:
        return RegionChoice(region=asked, words=asked_words, is_stated=True)
    if built_in is not None:
        own = sorted(taxa.regions.keys() - set(built_in)) or sorted(taxa.frequencies)
        if len(own) == 1:
            return RegionChoice(region=own[0], words="of the project's own tables", is_stated=True)
        if own:
            words = f"none was given, and the project has several: {', '.join(own)}"
            return RegionChoice(region=DEFAULT_REGION, words=words, is_stated=False)
    return RegionChoice(
        region=DEFAULT_REGION, words="taken because none was given", is_stated=False
    )


def answer_document(
    answer: Answer | None, problems: Sequence[Problem], identifier: Identifier, region: str
) -> dict[str, Any]:
    """
    Return an answer as plain values, for JSON.

    Parameters
    ----------
    answer : Answer or None
    problems : sequence of Problem
        All of them.
    identifier : Identifier
    region : str

    Returns
    -------
    dict
        As `answer_to_dict`, with ``cautions``, ``region_stated`` and ``data_version``. Where the
        evidence cannot be used, ``verdict`` is null and the lists are empty.
    """
    if answer is None:
        document = unanswered(region, problems)
    else:
        document = answer_to_dict(answer)
        document["problems"] = [p.as_dict() for p in problems]
        document["cautions"] = cautions_of(answer, identifier.taxa)
    document["region_stated"] = identifier.choice.is_stated or identifier.choice.region != region
    document["data_version"] = identifier.taxa.version
    return document


def unanswered(region: str | None, problems: Sequence[Problem]) -> dict[str, Any]:
    """
    Return the document of a coral whose evidence cannot be used.

    Parameters
    ----------
    region : str or None
    problems : sequence of Problem

    Returns
    -------
    dict
        With the keys of every answer.
    """
    return {
        "region": region,
        "verdict": None,
        "rank": "none",
        "qualifier": "",
        "ranked": [],
        "set95": [],
        "also_fit": [],
        "next": [],
        "splits": None,
        "memory_share": None,
        "prior": None,
        "problems": [p.as_dict() for p in problems],
    }


def cautions_of(answer: Answer, taxa: TaxaData) -> list[str]:
    """
    Say which of the likely and possible genera can hurt.

    Parameters
    ----------
    answer : Answer
    taxa : TaxaData

    Returns
    -------
    list of str
        Such as ``Millepora stings``.
    """
    near = [r.genus for r in answer.ranked if r.likelihood_word != "unlikely"]
    named = dict.fromkeys((*near, *answer.set95))
    return [f"{g} {taxa.genera[g].caution}" for g in named if taxa.genera[g].caution]


def require_answer(
    identifier: Identifier, evidence: Evidence, said: Sequence[Problem] = ()
) -> Answer:
    """
    Name one coral, or refuse with every fault at once.

    Parameters
    ----------
    identifier : Identifier
    evidence : Evidence
    said : sequence of Problem

    Returns
    -------
    Answer

    Raises
    ------
    InputError
        With the slug of the first fault, all of them in the message.
    """
    answer, problems = identifier.answer(evidence, said)
    if answer is None:
        raise all_at_once(problems)
    return answer


def all_at_once(problems: Sequence[Problem]) -> DryslateError:
    """
    Put every error into one exception.

    Parameters
    ----------
    problems : sequence of Problem
        With at least one error.

    Returns
    -------
    InputError
    """
    errors = [p for p in problems if p.severity == "error"]
    first = errors[0]
    told = "; ".join(f"{p.place}: {p.message}. {p.fix}".strip() for p in errors[1:])
    message = f"{first.place}: {first.message}"
    return InputError(first.slug, f"{message}; {told}" if told else message, first.fix)
