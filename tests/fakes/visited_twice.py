"""Two sites surveyed at several visits, with names that differ in how far they go."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from dryslate.cli.main import build_app

BELTS = "site,date,unit,zone,design,length_m,width_m,edge_rule,kind,category,name,n\n"
TAPES = "site,date,unit,design,length_m,kind,category,from_m,to_m\n"
COUNTS = {
    ("Ledge", "2024-05-19"): [{"Merulinidae": n, "Porites": n - 15} for n in (19, 20, 21)],
    ("Ledge", "2025-05-20"): [
        {"Favites": n, "Goniastrea": 10, "Porites": n + 14} for n in (9, 10, 12)
    ],
    ("Wall", "2024-05-21"): [{"Favites": n, "Porites": 5} for n in (7, 8, 6)],
    ("Wall", "2025-05-21"): [{"Favites": n, "Porites": 5} for n in (7, 9, 6)],
}
SHARES = {
    ("Ledge", "2024-05-19"): (5.0, 4.5, 5.5),
    ("Ledge", "2025-05-20"): (2.0, 1.5, 2.4),
    ("Ledge", "2026-05-20"): (1.0, 0.5, 1.4),
    ("Wall", "2024-05-21"): (5.0, 4.5, 5.4),
    ("Wall", "2025-05-21"): (4.9, 4.7, 5.2),
}


def take_in(project: Path, path: Path, table: str) -> None:
    """Import a table."""
    path.write_text(table, "utf-8")
    words = ["records", "import", project, path, "--observer", "Ines Varro", "--save"]
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    assert done.exit_code == 0, done.output


def survey(project: Path, folder: Path) -> Path:
    """Import belts and tapes of all visits."""
    belts = BELTS + "".join(
        f"{site},{date},B{k},slope,belt,10,1,centre_inside,count,hard coral,{name},{n}\n"
        for (site, date), units in COUNTS.items()
        for k, counts in enumerate(units)
        for name, n in counts.items()
    )
    take_in(project, folder / "belts.csv", belts)
    rows = TAPES + "".join(tapes(place, units) for place, units in SHARES.items())
    take_in(project, folder / "tapes.csv", rows)
    return project


def tapes(place: tuple[str, str], units: tuple[float, ...]) -> str:
    """Return rows of tapes of 10 m with so many metres of hard coral."""
    heads = [f"{','.join(place)},T{k},line_intercept,10,intercept" for k in range(len(units))]
    return "".join(
        f"{head},hard coral,0,{m}\n{head},sand,{m},10\n"
        for head, m in zip(heads, units, strict=True)
    )
