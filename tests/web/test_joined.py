"""Scripts of a page joined into one."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from dryslate.web import joined as module
from dryslate.web.joined import APART, SCRIPTS, joined
from dryslate.web.pages import static_version


@pytest.fixture
def of_sources(monkeypatch):
    """Join sources that a test gives."""

    def make(sources: dict[str, str]) -> str:
        monkeypatch.setattr(module, "_source", sources.__getitem__)
        monkeypatch.setattr(module, "SCRIPTS", {"own": ("a/start.js",)})
        module.joined.cache_clear()
        return str(module.joined("own"))

    yield make
    module.joined.cache_clear()


@pytest.mark.parametrize("name", SCRIPTS)
def test_every_module_of_a_page_is_in_its_script_once(name):
    script = joined(name)
    known = set(re.findall(r'^modules\["([^"]+)"\] = await', script, re.M))
    wanted, waiting = set(), list(SCRIPTS[name])
    folder = files("dryslate.web") / "static" / "js"
    while waiting:
        path = waiting.pop()
        wanted.add(path)
        text = (folder / path).read_text("utf-8")
        for place in re.findall(r'^import .* from "\./([^"]+)";$', text, re.M):
            if f"photo/{place}" not in wanted:
                waiting.append(f"photo/{place}")
    assert known == wanted
    assert len(re.findall(r"^import ", script, re.M)) == len(APART)


def test_modules_stand_behind_those_they_import_and_keep_their_names_apart(of_sources):
    script = of_sources(
        {
            "a/start.js": (
                'import { one as two } from "./b.js";\nconst here = two;\nexport { here };'
            ),
            "a/b.js": "const here = 1;\nexport const one = here;",
        }
    )
    assert script.index('modules["a/b.js"] =') < script.index('modules["a/start.js"] =')
    assert 'const { one: two } = modules["a/b.js"];' in script
    assert "return { here };" in script


@pytest.mark.parametrize(
    "line",
    [
        'import "./b.js";',
        'import all from "./b.js";',
        "export default 1;",
        'export * from "./b.js";',
    ],
)
def test_a_form_that_is_not_known_is_refused(of_sources, line):
    with pytest.raises(ValueError, match=re.escape(f"a/start.js: cannot be joined: {line}")):
        of_sources({"a/start.js": line, "a/b.js": ""})


def test_served_and_kept_by_its_version_and_unknown_names_are_not_found(
    client_of, read_only_project
):
    pages = client_of(read_only_project)
    found = pages.get(f"/static/joined/photo.js?v={static_version()}")
    assert found.status_code == 200
    assert found.headers["content-type"].startswith("text/javascript")
    assert found.headers["cache-control"] == "max-age=604800"
    assert found.text == joined("photo")
    assert pages.get("/static/joined/elsewhere.js").status_code == 404
