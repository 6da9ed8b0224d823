"""How a survey was made, what reviewers ask for, its limits, and the trail to its records."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from dryslate.app.survey_words import SURVEY_FLAGS
from dryslate.core.survey.methods import RULES
from dryslate.documents.report_blocks import (
    Block,
    Text,
    bullets,
    heading,
    para,
    spans,
    subheading,
    table,
)
from dryslate.documents.report_language import Speech
from dryslate.documents.survey_figures import DESIGN_WORDS

if TYPE_CHECKING:
    from dryslate.app.report_contents import SurveyReport
    from dryslate.app.report_units import ReportedUnit
    from dryslate.app.survey_records import NotedRow
    from dryslate.core.survey.designs import UnitDesign

MOST_UNITS_ON_PAPER = 1_000
MOST_CONDITIONS = 12
EDGES = {
    "centre_inside": "colonies whose centre lies inside are counted",
    "two_sides_in": "colonies that touch two agreed sides are counted, those on the others not",
    "any_touching": "every colony that touches is counted",
    "wholly_inside": "colonies wholly inside alone are counted",
}
POINTS = {
    "random": "placed at random",
    "stratified_random": "placed at random in each cell of a grid",
    "grid": "on a grid",
}


def methods(report: SurveyReport, speech: Speech) -> list[Block]:
    """Return how the units were sampled and the figures made, from the settings used."""
    if not report.units:
        return []
    alike: dict[tuple[str, ...], list[ReportedUnit]] = defaultdict(list)
    for unit in report.units:
        alike[tuple(_said(unit.design, speech))].append(unit)
    sampled: list[Text] = []
    for words, units in sorted(alike.items()):
        sites = sorted({unit.site for unit in units})
        where = speech.listed(sites) if len(sites) <= 6 else speech.say("{n} sites", n=len(sites))
        how = speech.say("{n} units ({where})", n=len(units), where=where)
        sampled.append(f"{speech.semicolon.join(words)}{speech.colon}{how}")
    used = {row.method for row in report.rows}
    rules: list[Text] = [
        f"{speech.word(rule.words)}{speech.colon}{rule.method.value} ({rule.page})"
        for rule in RULES
        if rule.method.value in used
    ]
    settings = report.settings
    made: list[Text] = [
        speech.say("The unit is the replicate; points and colonies of a unit count as one."),
        speech.say("Zones are kept apart, and permanent plots from other units."),
        speech.say(
            "Size classes from {edges} cm; cut-off {cut} cm; juveniles under {young} cm.",
            edges=", ".join(speech.digits(edge) for edge in settings.size_edges_cm),
            cut=speech.digits(settings.size_cut_off_cm),
            young=speech.digits(settings.juvenile_cm),
        ),
        speech.say("Which interval goes with which figure was fixed before the data were seen:"),
    ]
    return [
        heading(speech.say("How it was done"), "methods"),
        subheading(speech.say("Sampling")),
        bullets(sampled),
        subheading(speech.say("Figures and intervals")),
        bullets([*made, *rules]),
    ]


def _said(design: UnitDesign, speech: Speech) -> Iterator[str]:
    """Say how a unit was sampled; what was not stated is said so."""
    yield speech.word(DESIGN_WORDS[design.design])
    if design.is_permanent:
        yield speech.say("permanent plots")
    for value, text in (
        (design.length_m, "{x} m long"),
        (design.width_m, "{x} m wide"),
        (design.area_m2, "area {x} m²"),
        (design.spacing_m, "points {x} m apart"),
        (design.n_cells, "{x} cells"),
        (design.n_points, "{x} points a photo"),
        (design.minutes, "{x} minutes"),
    ):
        if value is not None:
            yield speech.say(text, x=speech.digits(float(value)))
    if design.point_rule is not None:
        yield speech.say(POINTS[design.point_rule])
    if design.seed is not None:
        yield speech.say("seed {seed}", seed=design.seed)
    if design.design in ("belt", "quadrat_counts"):
        yield speech.say(EDGES.get(design.edge_rule or "", "edge rule not stated"))
    if design.searched:
        yield speech.say("searched for: {names}", names=", ".join(design.searched))


def metadata(report: SurveyReport, speech: Speech) -> list[Block]:
    """Return what reviewers ask for, with what nobody stated named as such."""
    no = speech.say("not stated")
    units = report.units
    depths = [unit.unit.depth_m for unit in units if unit.unit.depth_m is not None]
    deep = no
    if depths:
        deep = speech.say(
            "{lo} to {hi} m ({n} of {all} units)",
            lo=speech.digits(min(depths)),
            hi=speech.digits(max(depths)),
            n=len(depths),
            all=len(units),
        )
    observers = sorted({u.unit.observer for u in units} | {v.observer for v in report.visits})
    versions = sorted({str(u.list_version) for u in units if u.list_version is not None})
    placed = {place.site for place in report.places}
    sites = {visit.site for visit in report.visits}
    people = [
        f"{one.person} ({', '.join(filter(None, (speech.word(one.role), one.organisation)))})"
        for one in report.people
    ]
    zones = sorted({unit.unit.zone for unit in units if unit.unit.zone})
    lines = [
        ("Title", report.facts.get("title") or no),
        ("Summary", report.facts.get("summary") or no),
        ("People", "; ".join(people) or no),
        ("Observers", "; ".join(filter(None, observers)) or no),
        ("Positions (WGS 84)", speech.say("{n} of {all} sites", n=len(sites & placed),
                                          all=len(sites))),
        ("Zones", "; ".join(zones) or no),
        ("Depth below the surface", deep),
        ("Cameras and lenses (photos)", "; ".join(report.cameras) or no),
        ("Reference cards found (photos)", "; ".join(report.cards) or no),
        ("Photos; set aside", f"{report.n_photos}; {report.n_aside}"),
        ("List of categories, version", ", ".join(versions) or speech.say("the usual list")),
        ("Rights holder", report.facts.get("rights_holder") or no),
        ("Licence", report.facts.get("licence") or no),
        ("Permit", report.facts.get("permit") or no),
    ]  # fmt: skip
    columns = [(speech.say("what"), False, 1.4), (speech.say("as stated"), False, 4.0)]
    return [
        heading(speech.say("What reviewers ask for"), "metadata"),
        table(columns, [("", (speech.say(name), value)) for name, value in lines]),
        *_conditions(report, speech),
    ]


def _conditions(report: SurveyReport, speech: Speech) -> Iterator[Block]:
    """List the conditions of the dives; name the visits without any."""
    yield subheading(speech.say("Conditions of the dives"))
    stated = [visit for visit in report.visits if visit.visit_id in report.conditions]
    without = [f"{v.site}, {speech.date(v.date)}" for v in report.visits if v not in stated]
    if stated:
        names = (
            "visit",
            "tide",
            "visibility (m)",
            "water (°C)",
            "weather",
            "swell, waves, current",
        )
        columns = [(speech.say(name), False, 1.6 if name == "visit" else 1.0) for name in names]
        lines: list[tuple[str, list[Text]]] = []
        for visit in stated:
            one = report.conditions[visit.visit_id]
            numbers = [
                "" if x is None else speech.digits(x) for x in (one.visibility_m, one.water_c)
            ]
            cells = [
                f"{visit.site}, {speech.date(visit.date)}",
                one.tide,
                *numbers,
                one.weather,
                one.sea,
            ]
            lines.append(("", [cell or speech.say("not stated") for cell in cells]))
        yield table(columns, lines, is_small=len(lines) > MOST_CONDITIONS)
    if without:
        named = speech.semicolon.join(without[:MOST_CONDITIONS])
        more = " …" if len(without) > MOST_CONDITIONS else ""
        said = speech.say("Not stated for {n} visits: {visits}", n=len(without), visits=named)
        yield para(f"{said}{more}")


def limits(report: SurveyReport, speech: Speech) -> list[Block]:
    """Return what the figures rest on without being able to show it."""
    if not report.rows:
        return []
    said = (
        "Units are taken to have been placed at random, or at least without an eye on what grows.",
        "Intervals hold what differs between units. They do not hold wrong names, missed colonies, "
        "or the habits of one observer.",
        "Each interval stands by itself: of a hundred, about five miss the truth.",
        "Raw numbers of genera grow with effort and are not to be compared at unequal effort.",
        "Figures of one date say nothing of a trend.",
    )
    flags = sorted({flag for row in report.rows for flag in row.flags})
    marked = [
        f"{speech.word(SURVEY_FLAGS.get(flag, flag))}{speech.colon}"
        f"{speech.say('{n} figures', n=sum(flag in row.flags for row in report.rows))}"
        for flag in flags
    ]
    return [
        heading(speech.say("Limits"), "limits"),
        bullets([speech.say(text) for text in said]),
        *([subheading(speech.say("Marked in the tables")), bullets(marked)] if marked else []),
    ]


def trail(report: SurveyReport, speech: Speech) -> list[Block]:
    """Return every unit with where its rows were written, its photos and its rows."""
    if not report.units:
        return []
    columns = [
        (speech.say("no."), True, 0.5),
        (speech.say("site, zone, date"), False, 2.6),
        (speech.say("unit"), False, 1.2),
        (speech.say("sampled"), False, 1.5),
        (speech.say("rows"), True, 0.6),
        (speech.say("written in"), False, 2.2),
        (speech.say("photos"), False, 2.0),
    ]
    lines = []
    for unit in report.units:
        place = ", ".join(filter(None, (unit.site, unit.unit.zone, unit.date)))
        cells = (
            str(unit.number),
            place,
            unit.unit.name or speech.say("no name"),
            speech.word(DESIGN_WORDS[unit.design.design]),
            str(unit.n_rows),
            "; ".join((*unit.places, *_sheets(unit, speech))) or speech.say("the pages"),
            _photos(unit, speech),
        )
        lines.append((f"unit-{unit.number}", cells))
    blocks = [
        heading(speech.say("Where each figure comes from"), "trail"),
        para(speech.say(
            "Each figure names the units it rests on; here is where their rows were written."
        )),
        table(columns, lines, is_small=True, is_wide=len(lines) > MOST_UNITS_ON_PAPER),
    ]  # fmt: skip
    listed = [unit for unit in report.units if unit.rows]
    if listed:
        head = Block(kind="subheading", text=spans(speech.say("Row by row")), is_wide=True)
        blocks.append(head)
        blocks.append(_row_table(listed, speech))
    elif any(unit.n_rows for unit in report.units):
        blocks.append(
            para(speech.say("The rows are too many to list; “dryslate records list” shows them."))
        )
    return blocks


def _photos(unit: ReportedUnit, speech: Speech) -> str:
    """Name a few photos, and how many there are."""
    names = [name for name, _ in unit.photos]
    if len(names) <= 3:
        return ", ".join(names)
    return speech.say("{first} to {last} ({n})", first=names[0], last=names[-1], n=len(names))


def _row_table(units: Sequence[ReportedUnit], speech: Speech) -> Block:
    """List every row with its place."""
    columns = [
        (speech.say("unit"), True, 0.5),
        (speech.say("row"), True, 0.6),
        (speech.say("what was noted"), False, 4.0),
        (speech.say("who"), False, 1.2),
        (speech.say("written in"), False, 2.0),
    ]
    lines = []
    for unit in units:
        names = dict((photo, name) for name, photo in unit.photos)
        for noted in unit.rows:
            cells = (
                str(unit.number),
                str(noted.row_no or ""),
                _noted(noted),
                noted.observer,
                _written(unit, noted, names, speech),
            )
            lines.append((f"row-{noted.row_no}", cells))
    return table(columns, lines, is_wide=True)


def _sheets(unit: ReportedUnit, speech: Speech) -> list[str]:
    """Name the photographed sheets of a unit."""
    return [
        speech.say("sheet {number} ({photo})", number=number, photo=photo)
        for number, photo in unit.sheets
    ]


def _written(unit: ReportedUnit, noted: NotedRow, names: dict[str, str], speech: Speech) -> str:
    """Say where a row was written: its place, and its row on a photographed sheet."""
    place = noted.row.place or names.get(noted.row.photo_id or "", "")
    if noted.row_no not in unit.on_paper:
        return place
    number, row = unit.on_paper[noted.row_no]
    on_sheet = speech.say("sheet {number}, row {row}", number=number, row=str(row))
    return "; ".join(filter(None, (place, on_sheet)))


def _noted(noted: NotedRow) -> str:
    """Write a row's own fields as they were noted."""
    said = noted.row.as_dict()
    skipped = {"kind", "category", "name", "place", "photo_id"}
    head = " ".join(filter(None, (noted.row.kind, noted.row.category, noted.row.name)))
    rest = [f"{k} {v:g}" if isinstance(v, float) else f"{k} {v}"
            for k, v in said.items() if k not in skipped and v not in (None, "")]  # fmt: skip
    return ", ".join((head, *rest))


def origin(report: SurveyReport, speech: Speech, version: str) -> list[Block]:
    """Return versions and hashes, from which anybody can tell whether it is the same."""
    lines: list[Text] = [
        speech.say("Made with dryslate {version} from {n} figures.", version=version,
                   n=len(report.rows)),
        speech.say("SHA-256 of the table of figures (“dryslate results --csv”): {hash}",
                   hash=report.table_sha256),
        speech.say("Records as of {when}; lines in the change log: {n}",
                   when=report.state_utc or speech.say("not stated"), n=report.n_changes),
    ]  # fmt: skip
    return [heading(speech.say("Versions and hashes"), "origin"), bullets(lines)]
