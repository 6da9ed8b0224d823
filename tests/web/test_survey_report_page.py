"""The page of the report of results: what is missing, making it, reading it, and what it may do."""

from __future__ import annotations

import time

from dryslate import wiring
from dryslate.app.unit_records import Unit


def made(pages, **said: object) -> str:
    """Ask for a report and wait for it; return the page that shows it."""
    answer = pages.post("/results/report", data={"language": "en", **said})
    assert answer.status_code == 303, answer.text
    for _ in range(1500):
        if not pages.get("/jobs").json()["jobs"]:
            return pages.get(answer.headers["location"]).text
        time.sleep(0.04)
    raise AssertionError("it did not end")


def test_page_says_what_is_missing_before(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/results/report").text
    assert "1 site has no position." in html
    assert "a title, the licence, whom the data belong to" in html
    assert "None yet." in html
    assert 'href="/results/report"' in html


def test_units_without_figures_are_named(client_of, own_project) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        (visit,) = store.visits()
        unit = {"unit_id": "aa" * 16, "visit_id": visit.visit_id, "observer": "Ines Varro"}
        store.save_unit(Unit(**unit, name="Far tape"))
    html = client_of(own_project).get("/results/report").text
    assert "Far tape" in html
    assert "not said how it was sampled" in html


def test_report_is_made_read_and_kept(client_of, own_project) -> None:
    pages = client_of(own_project)
    html = made(pages, part=["sites", "change", "figures"])
    assert "The report is made." in html
    (path,) = (own_project / "reports").glob("results-*.html")
    assert f"/results/report/{path.name}" in html
    answer = pages.get(f"/results/report/{path.name}")
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.text == path.read_text("utf-8")
    policy = answer.headers["content-security-policy"]
    assert "sandbox" in policy
    assert "default-src 'none'" in policy
    assert "script" not in policy
    assert 'id="trail"' not in answer.text
    pdf = pages.get(f"/results/report/{path.stem}.pdf?download=true")
    assert pdf.content.startswith(b"%PDF")
    assert "attachment" in pdf.headers["content-disposition"]
    table = pages.get(f"/results/report/{path.stem}.csv?download=true")
    assert table.content.startswith(b"\xef\xbb\xbfsite,date")
    made(pages, language="fr", part=["figures"])
    assert len(list((own_project / "reports").glob("results-*.html"))) == 2


def test_other_pages_keep_the_strict_policy(client_of, read_only_project) -> None:
    policy = client_of(read_only_project).get("/results/report").headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "sandbox" not in policy


def test_only_files_of_reports_are_handed_out(client_of, own_project) -> None:
    pages = client_of(own_project)
    (own_project / "reports" / "other.html").write_text("x", "utf-8")
    for name in ("other.html", "results-2024-01-01-1.html", "..%2Fdryslate.sqlite"):
        assert pages.get(f"/results/report/{name}").status_code == 404


def test_what_cannot_be_chosen_is_refused_or_told(client_of, own_project) -> None:
    pages = client_of(own_project)
    assert pages.post("/results/report", data={"language": "tlh"}).status_code == 422
    assert "report-part-unknown" in pages.post(
        "/results/report", data={"language": "en", "part": "weather"}
    ).text  # fmt: skip
    html = made(pages, site="Nowhere", part="figures")
    assert "Nothing was made." in html
    assert "results-choice-unknown" in html
