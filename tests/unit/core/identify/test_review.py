"""Who is looked at again, with what chance; whether names agree; and how often they hold."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from dryslate.core.identify.confidence import P_STATED, WORDS, score_confidence
from dryslate.core.identify.hit_rate import Verified, measure_hit_rate, wilson_interval
from dryslate.core.identify.review import (
    Candidate,
    DrawSettings,
    compare_names,
    find_name_conflicts,
    find_review,
)
from dryslate.core.identify.taxa import Genus, Kind, Profile, SizeRange, TaxaData


def genus(name: str, family: str, group: str = "stony", region: str = "east") -> Genus:
    return Genus(
        genus=name,
        family=family,
        authority="",
        group=group,  # type: ignore[arg-type]
        regions=frozenset({region}),
    )


def sized(name: str, low: float, high: float, kind: tuple[float, float] | None = None) -> Profile:
    def span(a: float, b: float) -> dict[str, SizeRange]:
        return {
            "corallite_diameter": SizeRange(
                low_mm=a, usual_low_mm=a, usual_high_mm=b, high_mm=b, source="made up"
            )
        }

    kinds = (
        (
            Kind(
                name="large",
                regions=frozenset(),
                growth_forms={},
                sizes=span(*kind),
                share=1.0,
                source="made up",
            ),
        )
        if kind
        else ()
    )
    return Profile(
        genus=name,
        profile="",
        regions=frozenset({"east"}),
        share=1.0,
        states={},
        sizes=span(low, high),
        kinds=kinds,
    )


ROWS = (
    genus("Favites", "Merulinidae"),
    genus("Goniastrea", "Merulinidae"),
    genus("Porites", "Poritidae"),
    genus("Millepora", "Milleporidae", "hydrocoral"),
    genus("Diploria", "Faviidae", region="west"),
)
TAXA = TaxaData(
    version="made up",
    characters={},
    genera={g.genus: g for g in ROWS},
    profiles=(sized("Favites", 6, 15), sized("Goniastrea", 2, 6, (8, 9)), sized("Porites", 1, 2)),
    lookalikes=(),
    regions={"east": frozenset({"east"}), "west": frozenset({"west"})},
)
F, G, P = ("genus", ("Favites",)), ("genus", ("Goniastrea",)), ("genus", ("Porites",))
MERULINIDAE = ("family", ("Favites", "Goniastrea"))
STONY = ("order", ("Favites", "Goniastrea", "Porites", "Diploria"))
NOTHING = ("none", ())


def candidates(n: int, **fields: object) -> list[Candidate]:
    values = {"probability": 0.99, "confidence": 5} | fields
    return [Candidate(identification_id=f"i{i:04}", **values) for i in range(n)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("fields", "reasons"),
    [
        ({"probability": 0.79}, ("probability",)),
        ({"confidence": 3}, ("confidence",)),
        ({"probability": None, "confidence": None}, ("not_stated",)),
        ({"conflicts": ("size", "region")}, ("size", "region")),
        ({"probability": 0.1, "confidence": 1}, ("probability", "confidence")),
    ],
)
def test_doubtful_names_are_drawn_for_certain_and_say_why(fields, reasons) -> None:
    drawn = find_review(candidates(3, **fields), DrawSettings(), np.random.default_rng(1))
    assert [(c.is_drawn, c.p_drawn, c.reasons) for c in drawn] == [(True, 1.0, reasons)] * 3


def test_limit_itself_is_not_low() -> None:
    drawn = find_review(
        candidates(1, probability=0.80, confidence=4),
        DrawSettings(random_frac=0.0),
        np.random.default_rng(1),
    )
    assert not drawn[0].is_drawn
    assert drawn[0].p_drawn == 0.0


def test_random_share_is_as_large_as_stated_and_the_chance_is_what_happened() -> None:
    rng = np.random.default_rng(4)
    settings = DrawSettings()
    counts = np.zeros(37)
    for _ in range(3000):
        drawn = find_review(candidates(37), settings, rng)
        counts += [c.is_drawn for c in drawn]
        assert sum(c.is_drawn for c in drawn) == 4  # 10 % of 37, rounded up
    assert drawn[0].p_drawn == pytest.approx(4 / 37)
    # binomial standard error 0.0057; 4.5 of them leave a chance of a false alarm of 3 in 10,000
    assert np.abs(counts / 3000 - 4 / 37).max() < 4.5 * math.sqrt(4 / 37 * 33 / 37 / 3000)


def test_same_seed_draws_the_same_whatever_the_order() -> None:
    rows = candidates(50)
    one = find_review(rows, DrawSettings(), np.random.default_rng(9))
    other = find_review(rows[::-1], DrawSettings(), np.random.default_rng(9))
    assert one == other
    assert one != find_review(rows, DrawSettings(), np.random.default_rng(10))


def test_nobody_to_draw_from_is_no_trouble() -> None:
    assert find_review([], DrawSettings(), np.random.default_rng(1)) == ()


@pytest.mark.parametrize(
    ("first", "second", "shared", "is_agreed", "agreed_at"),
    [
        (F, F, "genus", True, "genus"),
        (F, G, "genus", False, "family"),
        (F, P, "genus", False, "order"),
        (F, MERULINIDAE, "family", True, "family"),
        (P, MERULINIDAE, "family", False, "order"),
        (MERULINIDAE, MERULINIDAE, "family", True, "family"),
        (F, STONY, "order", True, "order"),
        (("genus", ("Millepora",)), STONY, "order", False, ""),
        (("genus", ("Favites", "Goniastrea")), F, "family", True, "family"),
        (F, NOTHING, "", None, ""),
        (NOTHING, NOTHING, "", None, ""),
    ],
)
def test_names_are_compared_at_the_rank_both_share(
    first, second, shared, is_agreed, agreed_at
) -> None:
    for one, other in ((first, second), (second, first)):
        found = compare_names(one, other, TAXA)
        assert (found.rank_shared, found.is_agreed, found.agreed_at) == (
            shared,
            is_agreed,
            agreed_at,
        )


@pytest.mark.parametrize(
    ("genera", "size", "region", "conflicts"),
    [
        (("Favites",), (5.5, 0.1), "east", ("size",)),
        (("Favites",), (5.5, 0.3), "east", ()),
        (("Favites", "Goniastrea"), (5.5, 0.1), "east", ()),
        (("Goniastrea",), (8.5, 0.1), "east", ()),
        (("Millepora",), (8.5, 0.1), "east", ()),
        (("Diploria",), (5.0, 0.1), "east", ("region",)),
        (("Diploria", "Porites"), (1.5, 0.1), "east", ()),
        (("Diploria",), (5.0, 0.1), None, ()),
        ((), (5.0, 0.1), "east", ()),
    ],
)
def test_size_and_region_speak_against_a_name(genera, size, region, conflicts) -> None:
    assert find_name_conflicts(genera, {"corallite_diameter": size}, region, TAXA) == conflicts


def known_by(measure: str, low: float, high: float, look: str = "") -> Profile:
    size = SizeRange(low_mm=low, usual_low_mm=low, usual_high_mm=high, high_mm=high, source="x")
    one = sized("Favites", low, high)
    return replace(one, profile=look, sizes={measure: size})


@pytest.mark.parametrize(
    ("looks", "conflicts"),
    [
        ((known_by("corallite_diameter", 6, 15),), ()),
        ((known_by("valley_width", 3, 6),), ("size",)),
        # one look known by its valleys, another by its calices only: it may well have such valleys
        ((known_by("valley_width", 3, 6, "a"), known_by("corallite_diameter", 6, 15, "b")), ()),
        ((known_by("valley_width", 3, 6, "a"), known_by("valley_width", 7, 8, "b")), ("size",)),
    ],
)
def test_measured_valley_is_no_conflict_where_only_calices_are_known(looks, conflicts) -> None:
    taxa = replace(TAXA, profiles=looks)
    valley = {"valley_width": (11.0, 0.2)}
    assert find_name_conflicts(("Favites",), valley, None, taxa) == conflicts


def test_kinds_known_by_their_calices_leave_a_valley_open() -> None:
    look = known_by("valley_width", 3, 6)
    parts = {
        m: Kind(
            name=m,
            regions=frozenset(),
            growth_forms={},
            sizes={m: look.sizes["valley_width"]},
            share=1.0,
            source="x",
        )
        for m in ("valley_width", "corallite_diameter")
    }
    valley = {"valley_width": (11.0, 0.2)}
    for names, conflicts in ((("valley_width",), ("size",)), (tuple(parts), ())):
        kinds = tuple(parts[n] for n in names)
        taxa = replace(TAXA, profiles=(replace(look, sizes={}, kinds=kinds),))
        assert find_name_conflicts(("Favites",), valley, None, taxa) == conflicts


def test_genera_of_uncertain_place_share_no_family() -> None:
    rows = [genus(n, "Scleractinia incertae sedis") for n in ("Aa", "Bb")]
    taxa = replace(TAXA, genera={g.genus: g for g in rows})
    found = compare_names(("genus", ("Aa",)), ("genus", ("Bb",)), taxa)
    assert (found.is_agreed, found.agreed_at) == (False, "order")


def test_wilson_interval_as_published() -> None:
    """Newcombe (1998, Stat. Med. 17, 857-872), Table I, method 3, as printed (from memory)."""
    for hits, n, lo, hi in (
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0, 0.1611),
    ):
        found = wilson_interval(hits / n, n)
        assert found == pytest.approx((lo, hi), abs=0.00005)


def test_hit_rate_is_not_stated_under_fifty() -> None:
    few = measure_hit_rate([Verified(is_hit=True, p_drawn=1.0)] * 49)
    assert (few.n, few.n_hits, few.rate, few.rate_lo95) == (49, 49, None, None)
    assert measure_hit_rate([Verified(is_hit=True, p_drawn=1.0)] * 50).rate == 1.0
    assert measure_hit_rate([]).n == 0


def test_hit_rate_weighs_what_was_seldom_drawn() -> None:
    """By pencil: 40 doubtful at chance 1, half right; 20 sure at chance 0.1, 19 right."""
    rows = [Verified(is_hit=i < 20, p_drawn=1.0, probability=0.5) for i in range(40)]
    rows += [Verified(is_hit=i < 19, p_drawn=0.1, probability=0.9) for i in range(20)]
    found = measure_hit_rate(rows)
    assert found.rate == pytest.approx((20 + 190) / 240)
    sure, unsure = 20 / 22, 21 / 42  # with one hit and one miss added
    smooth = (40 * unsure + 200 * sure) / 240
    variance = (40 * unsure * (1 - unsure) + 2000 * sure * (1 - sure)) / 240**2
    assert found.n_effective == pytest.approx(smooth * (1 - smooth) / variance)
    assert found.mean_probability == pytest.approx((20 + 180) / 240)
    assert (found.n, found.n_hits, found.n_weighed) == (60, 39, 60)


def test_chance_of_none_cannot_have_been_drawn() -> None:
    with pytest.raises(ValueError, match="chance above 0"):
        measure_hit_rate([Verified(is_hit=True, p_drawn=0.0)])


def test_interval_holds_the_teams_true_rate_and_a_plain_count_does_not() -> None:
    """Simulated seasons: 400 names, doubtful ones right in 60 %, sure ones in 95 %."""
    rng = np.random.default_rng(20260314)
    held = plain_held = 0
    n_seasons = 600
    for _ in range(n_seasons):
        doubtful = np.arange(400) < 120
        right = rng.random(400) < np.where(doubtful, 0.6, 0.95)
        names = [
            Candidate(identification_id=f"{i:03}", probability=0.5 if d else 0.97)
            for i, d in enumerate(doubtful)
        ]
        drawn = find_review(names, DrawSettings(), rng)
        seen = [
            Verified(is_hit=bool(r), p_drawn=c.p_drawn)
            for r, c in zip(right, drawn, strict=True)
            if c.is_drawn
        ]
        found = measure_hit_rate(seen)
        truth = (120 * 0.6 + 280 * 0.95) / 400
        held += found.rate_lo95 <= truth <= found.rate_hi95
        lo, hi = wilson_interval(found.n_hits / found.n, found.n)
        plain_held += lo <= truth <= hi
    assert held / n_seasons >= 0.93
    assert plain_held / n_seasons < 0.2


def test_each_key_stands_for_a_probability_that_its_words_say() -> None:
    assert list(P_STATED) == [1, 2, 3, 4, 5] == list(WORDS)
    assert list(P_STATED.values()) == sorted(P_STATED.values())
    said = {1: 3 / 10, 2: 5 / 10, 3: 7 / 10, 4: 9 / 10, 5: 49 / 50}
    for key, p in said.items():
        numbers = [int(w) for w in WORDS[key].replace(":", " ").split() if w.isdigit()]
        assert numbers[0] / numbers[1] == P_STATED[key] == p


def test_brier_score_is_nothing_for_no_answers() -> None:
    keys, brier = score_confidence([])
    assert keys == ()
    assert math.isnan(brier)
