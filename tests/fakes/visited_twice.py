"""Two sites surveyed at several visits, with names that differ in how far they go."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from dryslate.cli.main import build_app

BELTS = "site,date,unit,zone,design,length_m,width_m,edge_rule,kind,category,name,n\n"
COLONIES = (
    "site,date,unit,zone,design,length_m,width_m,edge_rule,kind,category,name,longest_cm,"
    "across_cm,normal_pct,pale_pct,bleached_pct,recently_dead_pct,old_dead_pct,lesion\n"
)
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


def add_colonies(project: Path, folder: Path, n: int = 20) -> Path:
    """Import belts of colonies one by one, larger and sounder at the second visit."""
    rows = COLONIES
    for date, times, bleached in (("2024-05-19", 1.0, 40), ("2025-05-20", 2.0, 10)):
        for unit in range(3):
            head = f"Ledge,{date},C{unit},slope,belt,20,1,centre_inside,colony,hard coral"
            for k in range(n):
                name = ("Favites", "Porites", "Goniastrea")[k % 3]
                size = times * (4.0 + 0.7 * ((5 * k + 3 * unit) % 17))
                share = bleached if (k + unit) % 3 else 0
                lesion = "white spots" if k == unit else "none"
                sizes = f"{size:.1f},{size / 2:.1f}"
                rows += f"{head},{name},{sizes},{100 - share},0,{share},0,0,{lesion}\n"
    take_in(project, folder / "colonies.csv", rows)
    return project
