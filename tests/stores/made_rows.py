"""Records for the tests of the stores; no real people or places."""

from __future__ import annotations

import runpy
from pathlib import Path

from dryslate.app.backup_records import Backup
from dryslate.app.colony_records import (
    Colony,
    ColonyColour,
    ColonyFractions,
    ColonyFrame,
    Neighbour,
    Sighting,
    StressOnset,
)
from dryslate.app.coral_health import HealthRow
from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
    ReviewOutcomeRow,
)
from dryslate.app.project_records import (
    CardFile,
    ClockOffset,
    CopyProof,
    DerivedFile,
    Observer,
    Original,
    PatchResidual,
    Site,
    Zone,
)
from dryslate.app.publication_records import NameId, ProjectPerson, SitePlace, UnitPlace
from dryslate.app.records import (
    ControlObject,
    CorrectionRow,
    MeasurementRow,
    Photo,
    PhotoFile,
    PhotoMetadata,
    Visit,
)
from dryslate.app.survey_records import (
    Category,
    CategoryMapping,
    NotedRow,
    SentBatch,
    StatedDesign,
)
from dryslate.app.unit_records import SetAside, Unit, UnitPhoto
from dryslate.app.zone_records import ZoneWeight
from dryslate.core.survey.designs import SurveyRow, UnitDesign

SITE, DATE, OBSERVER = "North wall", "2026-03-14", "Mara"
VISIT_ID = f"{SITE} {DATE}"

_more = runpy.run_path(str(Path(__file__).with_name("made_sheets.py")))
printed_sheet, site_logger, sheet_photo = (_more[name] for name in _more["MADE"])


def sha(letter: str) -> str:
    return letter * 64


def visit(**fields: object) -> Visit:
    values = {"visit_id": VISIT_ID, "site": SITE, "date": DATE, "observer": OBSERVER} | fields
    return Visit(**values)


def original(letter: str = "a", kind: str = "jpeg") -> Original:
    return Original(
        sha256=sha(letter),
        size_bytes=1000,
        kind=kind,
        kept_path=f"originals/{letter * 2}/{sha(letter)}.jpg",
    )


def photo(letter: str = "a", name: str = "IMG_0001.JPG", **metadata: object) -> Photo:
    words = {
        "taken_local": "2026-03-14T09:30:00",
        "utc_offset": None,
        "camera_make": "Benthos",
        "camera_model": "Benthos Five",
        "camera_serial": "0012",
        "flash_fired": True,
        "white_balance_fixed": False,
        "focal_mm": 18.0,
        "latitude_deg": -16.25,
    } | metadata
    return Photo(
        photo_id=sha(letter),
        visit_id=VISIT_ID,
        files=(PhotoFile(sha256=sha(letter), original_name=name, size_bytes=1000, kind="jpeg"),),
        metadata=PhotoMetadata(**words),
        depth_m=7.5,
        observer=OBSERVER,
    )


def correction(letter: str = "a", key: str = "first", **fields: object) -> CorrectionRow:
    values = {
        "photo_id": sha(letter),
        "key": key,
        "outcome": "corrected",
        "result": {"photo": "IMG_0001.JPG", "colour": {"gain": [2.5, 1.0, 1.25]}},
        "geometry": {"points": [[1.0, 2.0], [3.0, 4.0]], "n": 4},
        "colour": {"fit": "affine", "none": None},
        "corrected_path": "derived/x.jpg",
    } | fields
    return CorrectionRow(**values)


def measurement(name: str = "m1", **fields: object) -> MeasurementRow:
    values = {
        "measurement_id": name,
        "photo_id": sha("a"),
        "colony": "C7",
        "kind": "length",
        "points_px": ((10.0, 20.5), (110.0, 20.5)),
        "values": {"length_mm": 52.25, "length_mm_u": 0.5, "budget": {"pointing": 0.25}},
        "correction_key": "first",
        "observer": OBSERVER,
    } | fields
    return MeasurementRow(**values)


def residual(patch: str = "g1", **fields: object) -> PatchResidual:
    values = {
        "photo_id": sha("a"),
        "correction_key": "first",
        "card": "field",
        "card_key": "k1",
        "patch_id": patch,
        "residual_de00": 1.5,
        "residual_lab": (1.0, -0.5, 0.25),
        "dropped": "",
    } | fields
    return PatchResidual(**values)


def derived(**fields: object) -> DerivedFile:
    values = {
        "path": "derived/x.jpg",
        "photo_id": sha("a"),
        "key": "first",
        "kind": "corrected",
        "sha256": sha("d"),
        "size_bytes": 5,
        "steps": {"program": "0.1.0"},
    } | fields
    return DerivedFile(**values)


def fill(store: object) -> None:
    """Put one row or more into every table."""
    with store.write():
        store.save_site(Site(site=SITE, note="buoyed"))
        store.save_zone(Zone(site=SITE, zone="crest", depth_min_m=2.0, depth_max_m=5.0))
        store.save_observer(Observer(observer="Tevi", note="second diver"))
        store.save_visit(visit())
        store.save_original(original())
        store.save_original(original("b", "other"))
        store.save_card_file(card_file())
        store.save_copy(copy())
        store.save_photo(photo())
        store.save_clock_offset(clock())
        store.save_correction(correction())
        store.save_measurements([measurement()])
        store.save_patch_residuals(
            [residual(), residual("r1", residual_de00=None, dropped="glare", residual_lab=None)]
        )
        store.save_control_object(bar())
        store.save_derived_file(derived())
        store.save_region("indo_pacific")
        store.save_record(record())
        store.save_identification(identification())
        store.save_identification(identification("i2", role="second", observer="Tevi"))
        store.save_review_draw(draw(), [chance()])
        store.save_review_outcome(outcome())
        store.save_coral_health(health())
        store.save_unit(unit())
        store.save_unit_photo(unit_photo())
        store.save_set_aside(set_aside())
        store.save_backup(backup())
        store.save_categories([category("sand"), category("sand", list_version=2)])
        store.save_category_mappings([mapping()])
        store.save_unit_design(design())
        if not store.survey_rows():
            store.save_survey_rows([noted(), noted(kind="none_seen", name="Acropora")])
        store.save_sent_batch(batch())
        store.replace_zone_weights(SITE, [zone_weight(), zone_weight("slope", weight=3600.0)])
        store.save_colony(colony())
        store.save_colony_sighting(sighting())
        store.save_colony_fractions(fractions())
        store.save_colony_frame(frame())
        store.save_colony_colours([colony_colour()])
        store.save_stress_onset(onset())
        store.save_site_place(site_place())
        store.save_unit_place(unit_place())
        store.save_project_person(person())
        store.replace_name_ids([name_id()])
        store.save_project_fact("title", "Two reefs")
        _more["fill"](store, visit().visit_id, OBSERVER)


def colony(organism_id: str = "11111111-aaaa", **more: object) -> Colony:
    values = {
        "organism_id": organism_id,
        "site": SITE,
        "label": "17",
        "first_visit_id": VISIT_ID,
        "why_tagged": "random",
        "place": "left of the split rock",
        "depth_m": 7.5,
        "from_what": "north stake",
        "bearing_deg": 120.0,
        "distance_m": 2.5,
        "neighbours": (Neighbour(what="18", bearing_deg=40.0, distance_m=0.8),),
        "sketch_sha256": sha("b"),
        "note": "tag on the rock",
        "observer": OBSERVER,
        "tagged_at": "2026-03-14T20:00:00+07:00",
    } | more
    return Colony(**values)


def sighting(**more: object) -> Sighting:
    values = {
        "organism_id": "11111111-aaaa",
        "visit_id": VISIT_ID,
        "state": "seen",
        "record_id": "r1",
        "note": "in shade",
        "observer": OBSERVER,
        "noted_at": "2026-03-14T20:00:00+07:00",
    } | more
    return Sighting(**values)


def fractions(**more: object) -> ColonyFractions:
    values = {
        "organism_id": "11111111-aaaa",
        "visit_id": VISIT_ID,
        "normal_pct": 70.0,
        "pale_pct": 20.0,
        "bleached_pct": 10.0,
        "recently_dead_pct": 0.0,
        "old_dead_pct": 0.0,
        "lesion": "a narrow white edge",
        "observer": OBSERVER,
        "noted_at": "2026-03-14T20:00:00+07:00",
    } | more
    return ColonyFractions(**values)


def frame(**more: object) -> ColonyFrame:
    values = {
        "organism_id": "11111111-aaaa",
        "photo_id": sha("a"),
        "is_reference": True,
        "outline_px": ((10.0, 20.0), (60.0, 22.5), (40.0, 80.0)),
        "is_confirmed": True,
        "tie_points_px": (((1.0, 2.0), (3.0, 4.5)),),
        "observer": OBSERVER,
        "noted_at": "2026-03-14T20:00:00+07:00",
    } | more
    return ColonyFrame(**{"outline_how": "drawn"} | values)


def colony_colour(**more: object) -> ColonyColour:
    values = {
        "organism_id": "11111111-aaaa",
        "photo_id": sha("a"),
        "outline_key": "o1",
        "correction_key": "first",
        "measured": {"lab": [55.0, 5.5, 20.25], "white_distance": 40.5},
        "measured_at": "2026-03-14T20:00:00+07:00",
    } | more
    return ColonyColour(**values)


def onset(**more: object) -> StressOnset:
    values = {
        "onset_id": "s1",
        "site": SITE,
        "onset_date": "2026-03-01",
        "reason": "first white colonies reported by the dive boat",
        "observer": OBSERVER,
        "stated_at": "2026-03-14T20:00:00+07:00",
    } | more
    return StressOnset(**values)


def batch(**more: object) -> SentBatch:
    values = {
        "batch_id": "b" * 32,
        "unit_id": "unit T1",
        "row_nos": {"k1": 1, "k2": 2},
        "observer": "Mara",
        "stored_at": "2026-03-14T18:00:00Z",
    } | more
    return SentBatch(**values)


def zone_weight(zone: str = "crest", **more: object) -> ZoneWeight:
    values = {
        "site": SITE,
        "zone": zone,
        "weight": 1200.0,
        "measure": "m2",
        "source": "habitat map of 2024",
        "observer": OBSERVER,
        "stated_at": "2026-03-14T20:00:00Z",
    } | more
    return ZoneWeight(**values)


def site_place(**more: object) -> SitePlace:
    values = {
        "site": SITE,
        "latitude_deg": -8.35,
        "longitude_deg": 115.51,
        "position_text": "8°21.0'S 115°30.6'E",
        "precision_deg": 0.1 / 60,
        "uncertainty_m": 200.0,
        "grid_deg": 0.1,
        "country": "Atlantis",
        "country_code": "ZZ",
        "water_body": "Round Sea",
        "locality": "off the north point",
        "published_locality": "the far lagoon",
        "observer": OBSERVER,
        "stated_at": "2026-03-14T20:00:00Z",
    } | more
    return SitePlace(**values)


def unit_place(**more: object) -> UnitPlace:
    values = {
        "unit_id": "unit T1",
        "latitude_deg": -8.3501,
        "longitude_deg": 115.5102,
        "position_text": "-8.3501, 115.5102",
        "precision_deg": 0.0001,
        "uncertainty_m": None,
        "observer": "Tevi",
        "stated_at": "2026-03-14T20:00:00Z",
    } | more
    return UnitPlace(**values)


def person(**more: object) -> ProjectPerson:
    values = {"person": "Ines Varro", "role": "contact", "email": "ines@example.org"} | more
    return ProjectPerson(**values)


def name_id(**more: object) -> NameId:
    values = {
        "name": "Favites",
        "scientific_name": "Favites",
        "rank": "genus",
        "kingdom": "Animalia",
        "name_id": "urn:example:name:1",
        "register": "a register",
        "matched_on": "2026-03-01",
    } | more
    return NameId(**values)


def category(name: str, **more: object) -> Category:
    values = {
        "list_version": 1,
        "category": name,
        "group": "sand or silt",
        "is_hard_coral": False,
        "definition": "Loose grains.",
    } | more
    return Category(**values)


def mapping() -> CategoryMapping:
    return CategoryMapping(from_version=1, category="sand", to_version=2, to_category="sand")


def design(**more: object) -> StatedDesign:
    stated = UnitDesign(
        design="belt",
        length_m=10.0,
        width_m=1.0,
        edge_rule="centre_inside",
        searched=("Acropora", "Porites"),
    )
    values = {
        "unit_id": "unit T1",
        "design": stated,
        "list_version": 1,
        "observer": OBSERVER,
        "stated_at": "2026-03-14T20:00:00+07:00",
    } | more
    return StatedDesign(**values)


def noted(**row: object) -> NotedRow:
    values = {"kind": "colony", "category": "sand", "name": "Favites", "longest_cm": 12.5} | row
    return NotedRow(
        unit_id="unit T1",
        row=SurveyRow(**values),
        name=values["name"],
        current_names=(values["name"],),
        rank="genus",
        observer="Tevi",
        noted_at="2026-03-14T20:00:00+07:00",
    )


def backup(**fields: object) -> Backup:
    values = {
        "folder": "/media/disk/trip backup 2026-03-14 120000 UTC",
        "drive": "sdb",
        "is_proved": True,
        "n_files": 3,
        "size_bytes": 400_000,
        "database_sha256": sha("d"),
        "last_change_no": 22,
        "observer": OBSERVER,
        "made_utc": "2026-03-14T12:00:00Z",
    } | fields
    return Backup(**values)


def unit(name: str | None = "T1", **fields: object) -> Unit:
    values = {
        "unit_id": f"unit {name}",
        "visit_id": VISIT_ID,
        "kind": "transect",
        "name": name,
        "zone": "crest",
        "depth_m": 7.5,
        "depth_m_u": 0.5,
        "note": "along the edge",
        "observer": OBSERVER,
    } | fields
    return Unit(**values)


def unit_photo(letter: str = "a", **fields: object) -> UnitPhoto:
    values = {"photo_id": sha(letter), "unit_id": "unit T1", "how": "slate"} | fields
    return UnitPhoto(**values)


def set_aside(letter: str = "a", **fields: object) -> SetAside:
    values = {
        "photo_id": sha(letter),
        "reason": "blurred",
        "note": "",
        "observer": OBSERVER,
        "set_at": "2026-03-14T19:00:00Z",
    } | fields
    return SetAside(**values)


def health(record_id: str = "r1", **fields: object) -> HealthRow:
    values = {
        "record_id": record_id,
        "normal_pct": 70.0,
        "pale_pct": 20.0,
        "bleached_pct": 10.0,
        "recently_dead_pct": 0.0,
        "old_dead_pct": 0.0,
        "observer": OBSERVER,
        "noted_at": "2026-03-14T09:35:00+07:00",
    } | fields
    return HealthRow(**values)


def record(name: str = "r1", **fields: object) -> RecordRow:
    values = {
        "record_id": name,
        "colony": "C7",
        "visit_id": VISIT_ID,
        "photo_id": sha("a"),
        "growth_form": "massive",
        "is_juvenile": False,
        "measurement_ids": ("m1",),
        "observer": OBSERVER,
        "noted_at": "2026-03-14T09:31:00+07:00",
    } | fields
    return RecordRow(**values)


def identification(identification_id: str = "i1", **fields: object) -> IdentificationRow:
    values = {
        "identification_id": identification_id,
        "record_id": "r1",
        "role": "first",
        "name_as_recorded": "Favia",
        "name": "Dipsastraea or Goniastrea",
        "current_names": ("Dipsastraea", "Goniastrea"),
        "rank": "family",
        "qualifier": "cf.",
        "confidence": 3,
        "p_stated": 0.7,
        "probability": 0.625,
        "evidence": {"seen": {"growth_form": ["massive"]}, "sizes_mm": {}, "juvenile": False},
        "conflicts": ("size",),
        "region": "indo_pacific",
        "photo_regions": ((sha("a"), 10.0, 20.0, 110.5, 220.0),),
        "observer": OBSERVER,
        "identified_at": "2026-03-14T19:00:00+07:00",
        "data_version": "2026.1",
    } | fields
    return IdentificationRow(**values)


def draw(**fields: object) -> ReviewDrawRow:
    values = {
        "draw_id": "d1",
        "seed": 7,
        "random_frac": 0.1,
        "least_probability": 0.8,
        "observer": OBSERVER,
        "drawn_at": "2026-03-14T20:00:00+07:00",
    } | fields
    return ReviewDrawRow(**values)


def chance(name: str = "i1", **fields: object) -> ReviewChanceRow:
    values = {
        "identification_id": name,
        "record_id": "r1",
        "draw_id": "d1",
        "p_drawn": 1.0,
        "is_drawn": True,
        "reasons": ("probability", "size"),
    } | fields
    return ReviewChanceRow(**values)


def outcome(name: str = "o1", **fields: object) -> ReviewOutcomeRow:
    values = {
        "outcome_id": name,
        "record_id": "r1",
        "first_id": "i1",
        "second_id": "i2",
        "rank_shared": "family",
        "is_agreed": True,
        "agreed_at": "family",
        "observer": "Tevi",
        "decided_at": "2026-03-14T21:00:00+07:00",
        "settled_name": "Merulinidae",
        "settled_names": ("Dipsastraea", "Goniastrea"),
        "settled_rank": "family",
    } | fields
    return ReviewOutcomeRow(**values)


def card_file(**fields: object) -> CardFile:
    values = {
        "visit_id": VISIT_ID,
        "card_path": "DCIM/100A/IMG_0001.JPG",
        "sha256": sha("a"),
        "original_name": "IMG_0001.JPG",
        "size_bytes": 1000,
        "modified_ns": 1_773_000_000_123_456_789,
        "observer": OBSERVER,
    } | fields
    return CardFile(**values)


def copy(**fields: object) -> CopyProof:
    values = {
        "sha256": sha("a"),
        "folder": ".",
        "drive": "sda",
        "is_proved": True,
        "how": "direct",
        "proved_utc": "2026-03-14T12:00:00Z",
    } | fields
    return CopyProof(**values)


def clock(**fields: object) -> ClockOffset:
    values = {
        "visit_id": VISIT_ID,
        "camera": "Benthos Five no. 0012",
        "offset_s": -90.0,
        "utc_offset": "+07:00",
        "photo_id": sha("a"),
        "shown": "2026-03-14T09:28:30+07:00",
    } | fields
    return ClockOffset(**values)


def bar() -> ControlObject:
    return ControlObject(name="steel bar", kind="length", value=(200.0,), value_u=(0.2,))
