"""Holds an outbox against what others made: the Data Package project's validator, readers of CSV and Parquet, a
parser of calendars."""

import csv
import json
import shutil
import sys
import tempfile
from datetime import date, datetime
from pathlib import Path

import duckdb
import frictionless
import icalendar
import pandas

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


TEXT_COLUMNS = {"survey", "station", "baseline"}
WHOLE_COLUMNS = {"readings", "used", "flag"}


def typed(column: str, cell: str) -> object:
    """A cell of history.csv as the typed table holds it."""
    if not cell:
        return None
    if column in TEXT_COLUMNS:
        return cell
    if column == "date":
        return date.fromisoformat(cell)
    return int(cell) if column in WHOLE_COLUMNS else float(cell)


def check_typed_history(tank: Path) -> None:
    """pandas and DuckDB find every cell of history.csv in history.parquet, with its type."""
    columns = ["survey", "date", *STATION_COLUMNS]
    expected = [[typed(name, row[name]) for name in columns] for row in table(tank / "history.csv", columns)]
    expect(len(expected) > 0, True)
    relation = duckdb.read_parquet(str(tank / "history.parquet"))
    expect(relation.columns, columns)
    kinds = {"VARCHAR": TEXT_COLUMNS, "BIGINT": WHOLE_COLUMNS, "DATE": {"date"}}
    for name, kind in zip(relation.columns, relation.types):
        expect(str(kind), next((word for word, names in kinds.items() if name in names), "DOUBLE"))
    expect([list(row) for row in relation.fetchall()], expected)
    frame = pandas.read_parquet(tank / "history.parquet")
    expect(list(frame.columns), columns)
    for column, name in enumerate(columns):
        found = [None if pandas.isna(cell) else cell for cell in frame[name]]
        expect(found, [row[column] for row in expected])


def check_calendar(outbox: Path) -> None:
    """A parser of RFC 5545 reads the calendar without complaint; its days are those of the surveys and devices."""
    raw = (outbox / "calendar.ics").read_bytes()
    expect(raw.count(b"\n"), raw.count(b"\r\n"))
    expect(max(len(line) for line in raw.split(b"\r\n")) <= 75, True)
    calendar = icalendar.Calendar.from_ical(raw)
    expect(calendar.errors, [])
    events = calendar.walk("VEVENT")
    expect(len({str(event["UID"]) for event in events}), len(events))
    for event in events:
        expect(event.errors, [])
        expect(type(event.decoded("DTSTART")), date)
        expect(event.decoded("DTSTAMP").utcoffset().total_seconds(), 0.0)
        expect(bool(str(event["SUMMARY"])), True)
    due = [event.decoded("DTSTART") for event in events if str(event["UID"]).startswith("survey-due-lantern-")]
    dates = [row["date"] for row in table(outbox / "lantern/history.csv", ["survey", "date", *STATION_COLUMNS])]
    last = max(date.fromisoformat(day) for day in dates)
    # The demo's tank says every = "35d".
    expect([(day - last).days for day in due], [35])
    expect(any("certificate" in str(event["UID"]) for event in events), True)


def check_second_copies(tank: Path, packages: list[Path]) -> None:
    """Each table has a copy that a spreadsheet of a decimal-comma country opens: the same cells."""
    for path in [tank / "history.csv", *(package / f"{name}.csv" for package in packages for name in ("stations", "readings"))]:
        standard = pandas.read_csv(path)
        second = pandas.read_csv(path.with_suffix("").with_suffix(".eu.csv"), sep=";", decimal=",")
        pandas.testing.assert_frame_equal(standard, second)


def expect(found: object, expected: object) -> None:
    if found != expected:
        raise ValueError(f"found {found!r}, expected {expected!r}")


def main() -> int:
    outbox = Path(sys.argv[1])
    with_eu = "--with-eu" in sys.argv[2:]
    checks = [("calendar", check_calendar, (outbox,))]
    for history in sorted(outbox.glob("*/history.csv")):
        tank = history.parent
        packages = [path.parent for path in sorted(tank.glob("[!.]*/datapackage.json"))]
        checks += [(f"package {tank.name}/{package.name}", check_package, (package,)) for package in packages]
        checks += [("the validator sees a mistake", check_that_the_validator_sees, (packages[-1],))]
        checks += [(f"history of {tank.name}", check_history, (tank, packages))]
        checks += [(f"typed history of {tank.name}", check_typed_history, (tank,))]
        if with_eu:
            checks += [(f"second copies of {tank.name}", check_second_copies, (tank, packages))]
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
