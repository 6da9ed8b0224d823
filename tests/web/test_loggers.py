"""A logger's file kept on the page of tagged colonies, and its heat on a colony's page."""

from __future__ import annotations

import pytest

from dryslate import wiring
from dryslate.app.site_loggers import site_heat

SITE, VISIT = "Lantern Steps", "Lantern Steps 2024-03-09"
STATED = {"site": SITE, "warmest_c": "29,0", "warmest_source": "made up", "offset_c": "0"}
ROWS = [
    f"2024-{month:02d}-{day:02d}T{hour:02d}:00+05:00,31"
    for month in (2, 3)
    for day in range(1, 29)
    for hour in range(24)
]
FILE = "\n".join(["time,temperature_c", *ROWS]) + "\n"
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256))


@pytest.fixture
def pages(client_of, own_project):
    """A client whose project may change."""
    return client_of(own_project)


def send(pages, content: str | bytes, **fields: str):
    files = {"file": ("reef <1>.csv", content, "text/csv")}
    return pages.post(
        "/colonies/loggers", data=STATED | fields, files=files, headers={"hx-request": "true"}
    )


def test_logger_is_kept_and_drawn_beneath_the_colonies_of_its_site(pages) -> None:
    tag = {"label": "17", "visit": VISIT, "why": "random", "place": ""}
    address = pages.post("/colonies", data=tag).headers["location"]
    assert "Heat at its site" not in pages.get(address).text
    assert "°C-weeks" not in pages.get(address).text
    answer = send(pages, FILE)
    assert (answer.status_code, answer.headers["location"]) == (303, "/colonies#loggers")
    html = pages.get("/colonies").text
    assert "reef &lt;1&gt;.csv" in html
    shown = pages.get(address).text
    assert "Heat at its site" in shown
    assert shown.count("°C-weeks") > 4  # beside the curve too
    assert "<td>16.0, 28 Mar 2024</td>" in shown  # 56 days of 2 degrees over the mean, over 7
    with wiring.survey_store(pages.project, write=False) as store:
        (kept,) = store.site_loggers(SITE)
    assert (kept.observer, kept.warmest_c) == ("Ines Varro", 29.0)
    back = pages.get(f"/colonies/loggers/{kept.sha256}.csv?site={SITE}")
    assert back.content == FILE.encode()
    assert "reef%20%3C1%3E.csv" in back.headers["content-disposition"]
    assert pages.get(f"/colonies/loggers/{'0' * 64}.csv").status_code == 404
    gone = pages.post(f"/colonies/loggers/{kept.sha256}", data={"site": SITE})
    assert gone.status_code == 303
    assert "Heat at its site" not in pages.get(address).text
    again = pages.post(f"/colonies/loggers/{kept.sha256}", data={"site": SITE})
    assert "logger-unknown" in again.text


def test_faults_are_told_with_their_place_and_nothing_is_kept(pages) -> None:
    wrong = send(pages, FILE.replace(",31", ",warm"))
    assert wrong.status_code == 422
    assert "row 2, temperature_c" in wrong.text
    assert "reef &lt;1&gt;.csv" in wrong.text
    assert "Nothing was kept" in wrong.text
    assert wrong.text.count("data-slug") == 20
    assert "1324 more faults" in wrong.text
    for content, fields, slug in (
        (b"PK\x03\x04", {}, "logger-not-csv"),
        ("<xml/>", {}, "logger-not-csv"),
        (FILE, {"warmest_c": ""}, "logger-setting-odd"),
        (FILE, {"site": "elsewhere"}, "logger-site-unknown"),
        (FILE, {"deployed_from": "2024-02-01T09:00"}, "logger-setting-odd"),
        (b"", {}, "table-empty"),
        (JPEG, {}, "logger-not-csv"),
        (FILE, {"zone": "+99:99"}, "logger-zone-wrong"),
        ("time,temperature_c\n9999-12-31T23:59-02:00,31\n", {}, "logger-cell-unreadable"),
        ("time,temperature_c\n2024-02-01T00:00+05:00,inf\n", {}, "logger-cell-unreadable"),
    ):
        refused = send(pages, content, **fields)
        assert refused.status_code >= 400
        assert slug in refused.text
    with wiring.survey_store(pages.project, write=False) as store:
        assert store.site_loggers() == ()


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"warmest_c": "warm"}, "La moyenne du mois le plus chaud n’est pas un nombre\xa0: warm"),
        ({"warmest_c": ""}, "La moyenne du mois le plus chaud n’est pas indiquée"),
        ({"offset_c": "nan"}, "La différence enregistreur moins source n’est pas un nombre"),
        ({"deployed_to": "2024-02-01T09:00"}, "un des deux moments manque"),
        ({"warmest_source": "a\x01b"}, "La source contient des signes"),
    ],
)
def test_odd_settings_are_told_in_french(pages, fields, told) -> None:
    files = {"file": ("a.csv", FILE, "text/csv")}
    headers = {"accept-language": "fr", "hx-request": "true"}
    answer = pages.post("/colonies/loggers", data=STATED | fields, files=files, headers=headers)
    assert answer.status_code == 422
    assert told in answer.text


def test_several_files_of_one_logger_make_one_line(pages):
    head, rows = "time,temperature_c\n", FILE.splitlines()[1:]
    parts = ["\n".join([head.strip(), *some]) + "\n" for some in (rows[:900], rows[800:])]
    files = [("file", (f"part {k}.csv", text, "text/csv")) for k, text in enumerate(parts)]
    headers = {"hx-request": "true"}
    answer = pages.post("/colonies/loggers", data=STATED, files=files, headers=headers)
    assert answer.status_code == 303
    html = pages.get("/colonies").text
    assert ("part 0.csv" in html, "part 1.csv" in html) == (True, True)
    assert "100 stand in both and count once" in html
    with wiring.survey_store(pages.project, write=False) as store:
        assert {one.logger for one in store.site_loggers(SITE)} == {"part 0.csv"}
        (heat,) = site_heat(store, SITE)
    assert heat.found is not None
    assert heat.found.n_readings == len(rows)
