"""Change on the pages: what is compared, what may be said of it, and what it rests on."""

from __future__ import annotations

import csv
import html
import io
import re


def lines(shown: str) -> dict[str, str]:
    """Each change of a page, by what it is of, its words without tags."""
    found = {}
    for part in re.findall(r'<li class="(?:changed|not_shown|not_known)">(.*?)</li>', shown, re.S):
        words = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", part)).split())
        found[words.split(" 1")[0].split(" 2")[0]] = words
    return found


def trails(shown: str) -> list[str]:
    return list(
        dict.fromkeys(html.unescape(a) for a in re.findall(r'"(/change/trail[^"]+)"', shown))
    )


def test_nothing_noted_says_so_and_where_to_begin(client_of, read_only_project) -> None:
    told = client_of(read_only_project).get("/change").text
    assert "there is nothing to compare" in told
    assert 'href="/records"' in told


def test_each_change_says_in_words_what_may_be_said(client_of, visited) -> None:
    pages = client_of(visited)
    ledge = pages.get("/change?site=Ledge").text
    (coral,) = [w for what, w in lines(ledge).items() if what == "hard coral"]
    assert "Changed" in coral
    assert re.search(r"Fell by 40\.3 points, from 50\.0 % to 9\.7 %", coral.replace("\xa0", " "))
    assert re.search(r"p (0\.\d{3}|< 0\.001), adjusted", coral.replace("\xa0", " "))
    wall = lines(pages.get("/change?site=Wall").text)["hard coral"].replace("\xa0", " ")
    assert "Not shown" in wall
    assert re.search(r"one of [\d.]+ points or more would be seen four times in five", wall)
    assert "no change" not in wall.lower().replace("no change shown", "")
    assert pages.get("/change?site=Nowhere&subject=what&things=ever&way=how").status_code == 200


def test_a_name_says_what_it_was_put_together_from(client_of, visited) -> None:
    shown = client_of(visited).get("/change?site=Ledge&subject=density&things=name").text
    found = lines(shown)
    assert set(found) == {"Merulinidae", "Porites"}
    assert "compared as: family" in found["Merulinidae"]
    assert "put together: Favites, Goniastrea, Merulinidae" in found["Merulinidae"]
    assert "2 tests." in shown


def test_typed_letters_choose_among_what_there_is(client_of, visited) -> None:
    pages = client_of(visited)
    ask = "/change?site=Ledge&subject=density&things=name&thing="
    assert set(lines(pages.get(ask + "por").text)) == {"Porites"}
    assert set(lines(pages.get(ask + "Favites").text)) == {"Merulinidae"}
    assert set(lines(pages.get(ask + "por;fav").text)) == {"Merulinidae", "Porites"}
    assert "it was not noted at two visits" in pages.get(ask + "Acropora").text
    assert '<option value="Favites">' in pages.get(ask).text


def test_trend_sites_together_and_impact_each_have_their_words(client_of, visited) -> None:
    pages = client_of(visited)
    trend = lines(pages.get("/change?way=trend&site=Ledge").text)["hard coral"]
    assert re.search(r"a year", trend)
    sites = pages.get("/change?way=sites&subject=cover").text
    assert "on average" in lines(sites)["hard coral"] or "mean change" in lines(sites)["hard coral"]
    assert "Ledge, Wall" in sites
    ask = "/change?way=contrast&impact=Ledge&control=Wall&after="
    both = pages.get(ask + "2025-01-01").text
    assert "Not known" in lines(both)["hard coral"]  # one site of each kind says nothing of chance
    assert "one site each" in lines(both)["hard coral"]
    assert "Ledge against Wall" in both
    lacking = pages.get(ask).text
    assert "change-needs-both" in lacking
    assert not lines(lacking)
    twice = pages.get("/change?way=contrast&impact=Ledge&control=Ledge&after=2025-01-01").text
    assert "change-site-unknown" in twice


def test_the_same_units_again_are_paired_where_it_is_said(client_of, visited) -> None:
    pages = client_of(visited)
    anew, same = (
        csv.DictReader(io.StringIO(pages.get(f"/change/table.csv?site=Ledge{more}").text))
        for more in ("", "&same=1")
    )
    assert {row["method"] for row in anew} == {"parts_anew"}
    assert {row["method"] for row in same} == {"parts_paired"}


def test_table_holds_what_the_page_shows(client_of, visited) -> None:
    answer = client_of(visited).get("/change/table.csv?site=Ledge&subject=density&things=name")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "change.csv" in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["thing"] for row in rows] == ["Merulinidae", "Porites"]
    assert {row["n_tests"] for row in rows} == {"2"}


def test_every_change_leads_to_its_units_and_rows(client_of, visited) -> None:
    pages = client_of(visited)
    seen = 0
    for ask in (
        "site=Ledge",
        "site=Ledge&subject=density&things=name",
        "way=trend&site=Ledge",
        "way=sites&subject=density&things=name",
        "way=contrast&impact=Ledge&control=Wall&after=2025-01-01",
    ):
        found = trails(pages.get(f"/change?{ask}").text)
        assert found, ask
        for address in found:
            told = pages.get(address)
            assert told.status_code == 200, address
            assert re.search(r'href="/records/units/[0-9a-z-]+"', told.text)
            seen += 1
    assert seen >= 8
    (family,) = [a for a in found_of(pages) if "Merulinidae" in a]
    told = pages.get(family).text
    assert "belts.csv, row 2" in told
    assert told.count("2 rows count to it, of 3") == 3  # Favites and Goniastrea of the later visit
    assert told.count("1 row counts to it, of 2") == 3
    unknown = pages.get(family.replace("Merulinidae", "Acropora"))
    assert unknown.status_code == 422
    assert "change-unknown" in unknown.text


def found_of(pages) -> list[str]:
    return trails(pages.get("/change?site=Ledge&subject=density&things=name").text)


def test_what_is_stored_meanwhile_is_seen_at_once(
    client_of, visited, visited_twice, tmp_path
) -> None:
    pages = client_of(visited)
    assert "18 Oct 2025" not in pages.get("/change?site=Wall").text
    more = visited_twice.tapes(("Wall", "2025-10-18"), (3.0, 2.5, 2.2))
    visited_twice.take_in(visited, tmp_path / "later.csv", visited_twice.TAPES + more)
    assert "18 Oct 2025" in pages.get("/change?site=Wall").text


def test_the_same_question_again_is_not_worked_out_again(client_of, visited, monkeypatch) -> None:
    import dryslate.app.change as worked

    pages = client_of(visited)
    first = pages.get("/change?site=Ledge").text
    monkeypatch.setattr(worked, "changes_of", None)
    assert pages.get("/change?site=Ledge").text == first


def test_sizes_and_health_are_compared_too(client_of, visited, visited_twice, tmp_path) -> None:
    visited_twice.add_colonies(visited, tmp_path)
    pages = client_of(visited)
    sizes = lines(pages.get("/change?site=Ledge&subject=sizes&things=group").text)["all corals"]
    assert re.search(r"Rose by 100\.0 %, from 8\.9 cm to 17\.9 cm", sizes.replace("\xa0", " "))
    health = lines(pages.get("/change?site=Ledge&subject=health&things=name").text)
    assert set(health) == {"Merulinidae", "Porites"}  # at the list that all belts share
    trend = pages.get("/change?way=trend&site=Ledge&subject=sizes&things=group").text
    assert "it was not noted at two visits" in trend
    told = pages.get(trails(pages.get("/change?site=Ledge&subject=sizes&things=group").text)[0])
    assert told.text.count("20 rows count to it") == 6
