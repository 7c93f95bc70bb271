"""Holds an outbox against the Data Package project's validator and against Python's own CSV reader."""

import csv
import json
import shutil
import sys
import tempfile
from datetime import datetime
from pathlib import Path

import frictionless

STATION_COLUMNS = (
    "station,from_left_cm,from_bottom_cm,from_front_cm,readings,used,ppfd,u_ppfd,u_own_ppfd,u_shared_ppfd,flag,"
    "change_percent,u_change_percent,baseline"
).split(",")
READING_COLUMNS = (
    "source,row,time,device,station,from_left_cm,from_bottom_cm,from_front_cm,raw,raw_unit,ppfd,u_ppfd,flag,reasons"
).split(",")
# IOC Manuals and Guides 54, Vol. 3, table 1.
FLAGS = {"1", "2", "3", "4", "9"}


def complaints_of(package: Path) -> list[str]:
    """What the validator finds wrong with a package; its warnings are not counted."""
    report = frictionless.validate(package / "datapackage.json")
    found = [error.message for error in report.errors]
    return found + [f"{task.place}: {error.message}" for task in report.tasks for error in task.errors]


def table(path: Path, columns: list[str]) -> list[dict[str, str]]:
    """A CSV file with these columns; every row must have as many cells as the header."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file, strict=True))
    header, *rows = rows
    expect(header, columns)
    for number, row in enumerate(rows, 2):
        if len(row) != len(header):
            raise ValueError(f"{path.name}: record {number} has {len(row)} cells, the header {len(header)}")
    return [dict(zip(header, row)) for row in rows]


def check_package(package: Path) -> None:
    """A survey's package is valid, and its tables are what the formats say."""
    complaints = complaints_of(package)
    if complaints:
        raise ValueError("; ".join(complaints))
    readings = table(package / "readings.csv", READING_COLUMNS)
    stations = table(package / "stations.csv", STATION_COLUMNS)
    survey = json.loads((package / "survey.json").read_text(encoding="utf-8"))
    expect({row["flag"] for row in readings + stations} <= FLAGS, True)
    expect(len(readings), sum(source["rows"] for source in survey["sources"]))
    expect(len(readings), sum(int(row["readings"]) for row in stations) + sum(not row["station"] for row in readings))
    for row in readings:
        if row["time"]:
            # An offset written as numbers; Python before 3.11 reads no other.
            expect(datetime.fromisoformat(row["time"]).utcoffset() is not None, True)
    for row in stations:
        if row["ppfd"]:
            own, shared = float(row["u_own_ppfd"]), float(row["u_shared_ppfd"])
            expect(abs(float(row["u_ppfd"]) ** 2 - own**2 - shared**2) < 0.01 * (own + shared) + 1e-5, True)


def check_that_the_validator_sees(package: Path) -> None:
    """A word where a number belongs: a check that can't fail is none."""
    with tempfile.TemporaryDirectory() as folder:
        broken = Path(folder) / "package"
        shutil.copytree(package, broken)
        stations = (broken / "stations.csv").read_text(encoding="utf-8").split("\n")
        cells = stations[1].split(",")
        cells[STATION_COLUMNS.index("ppfd")] = "bright"
        stations[1] = ",".join(cells)
        (broken / "stations.csv").write_text("\n".join(stations), encoding="utf-8")
        if not any("bright" in complaint for complaint in complaints_of(broken)):
            raise ValueError("the validator passed a word in a number's place")


def check_history(tank: Path, packages: list[Path]) -> None:
    """One row for each survey and station, the same cells as in the survey's own table."""
    history = table(tank / "history.csv", ["survey", "date", *STATION_COLUMNS])
    expect({row["survey"] for row in history} <= {package.name for package in packages}, True)
    for package in packages:
        told = [{name: row[name] for name in STATION_COLUMNS} for row in history if row["survey"] == package.name]
        expect(told, table(package / "stations.csv", STATION_COLUMNS))


def expect(found: object, expected: object) -> None:
    if found != expected:
        raise ValueError(f"found {found!r}, expected {expected!r}")


def main() -> int:
    outbox = Path(sys.argv[1])
    checks = []
    for history in sorted(outbox.glob("*/history.csv")):
        tank = history.parent
        packages = [path.parent for path in sorted(tank.glob("[!.]*/datapackage.json"))]
        checks += [(f"package {tank.name}/{package.name}", check_package, (package,)) for package in packages]
        checks += [("the validator sees a mistake", check_that_the_validator_sees, (packages[-1],))]
        checks += [(f"history of {tank.name}", check_history, (tank, packages))]
    passed = failed = 0
    for name, check, arguments in checks:
        try:
            check(*arguments)
            passed += 1
            print(f"ok      {name}")
        except Exception as error:  # One failed check must not hide the others.
            failed += 1
            print(f"FAILED  {name}: {error}")
    # An outbox without surveys would pass everything.
    enough = passed + failed >= 8
    if not enough:
        print(f"FAILED  the outbox holds too little to check: {outbox}")
    print(f"outside checks: {passed} passed, {failed + (not enough)} failed")
    return 0 if enough and not failed else 1


if __name__ == "__main__":
    sys.exit(main())
