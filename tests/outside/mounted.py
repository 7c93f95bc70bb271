"""Holds a mounted sensor's minutes and days against Apache Arrow's own reader and a sum of our own.

Usage: mounted.py PROGRAM FOLDER. Lays out a site in FOLDER, has PROGRAM take in a log, and reads what comes out.
"""

import csv
import json
import statistics
import subprocess
import sys
from collections import defaultdict
from datetime import datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import frictionless
import pyarrow.parquet

ZONE = ZoneInfo("Europe/Lisbon")
SITE = """[site]
timezone = "Europe/Lisbon"
[intake]
settle = "0s"
[[route]]
match = "reef/logger/**"
station = "reef-top"
"""


def readings() -> list[tuple[datetime, float]]:
    """Two weeks about the day on which clocks change, a reading every 20 s; three hours are missing on one day."""
    at = datetime(2026, 3, 22, tzinfo=ZONE).astimezone(timezone.utc)
    end = datetime(2026, 4, 5, tzinfo=ZONE).astimezone(timezone.utc)
    gap = datetime(2026, 4, 2, 12, tzinfo=ZONE).astimezone(timezone.utc)
    found = []
    while at < end:
        hour = at.astimezone(ZONE).hour
        light = 180.0 + (at.second % 7) if 9 <= hour < 19 else 0.5
        if not gap <= at < gap + timedelta(hours=3):
            found.append((at, light))
        at += timedelta(seconds=20)
    return found


def expect(what: str, found: object, expected: object) -> None:
    if found != expected:
        raise ValueError(f"{what}: found {found!r}, expected {expected!r}")


def near(what: str, found: float, expected: float, within: float) -> None:
    if abs(found - expected) > within:
        raise ValueError(f"{what}: found {found}, expected {expected} within {within}")


def main() -> int:
    program, site = Path(sys.argv[1]), Path(sys.argv[2])
    (site / "inbox/reef/logger").mkdir(parents=True)
    (site / "undim.toml").write_text(SITE, encoding="utf-8")
    taken = readings()
    lines = ["time,PPFD"] + [f"{at.strftime('%Y-%m-%dT%H:%M:%SZ')},{light}" for at, light in taken]
    (site / "inbox/reef/logger/log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    subprocess.run([program, "sweep", "--site", site], check=True, stdout=subprocess.DEVNULL)

    folder = site / "outbox/reef/mounted/reef-top"
    minutes = pyarrow.parquet.read_table(folder / "minutes-2026.parquet")
    expect("columns", minutes.column_names, ["time", "mean", "median", "n", "rejected"])
    expect("type of time", str(minutes.schema.field("time").type), "timestamp[us, tz=UTC]")
    by_minute = defaultdict(list)
    for at, light in taken:
        by_minute[at.replace(second=0)].append(light)
    rows = minutes.to_pylist()
    expect("minutes", [row["time"] for row in rows], sorted(by_minute))
    by_day = defaultdict(list)
    for row in rows:
        lights = by_minute[row["time"]]
        expect("n", (row["n"], row["rejected"]), (len(lights), 0))
        near("mean", row["mean"], statistics.fmean(lights), 1e-9)
        near("median", row["median"], statistics.median(lights), 1e-9)
        by_day[row["time"].astimezone(ZONE).date().isoformat()].append(row["mean"])

    with (folder / "days.csv").open(newline="", encoding="utf-8") as file:
        days = list(csv.DictReader(file))
    expect("days", [day["date"] for day in days], sorted(by_day))
    for day in days:
        near("dli", float(day["dli"]), sum(by_day[day["date"]]) * 60 / 1e6, 0.0005)
        ordered = sorted(by_day[day["date"]])
        # Hyndman and Fan's definition 7, which `statistics.quantiles` calls inclusive.
        near("peak", float(day["peak"]), statistics.quantiles(ordered, n=100, method="inclusive")[98], 0.0005)
    flags = {day["date"]: day["flag"] for day in days}
    expect("the day with a gap", flags.pop("2026-04-02"), "3")
    expect("the others", set(flags.values()), {"1"})
    changed = next(day for day in days if day["date"] == "2026-03-29")
    expect("readings of a day of 23 hours", changed["n"], str(23 * 180))

    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    # The validator reads no Parquet without a reader of its own: the tables that it can read are held against it.
    package["resources"] = [one for one in package["resources"] if one["format"] == "csv"]
    report = frictionless.Package(package, basepath=str(folder)).validate()
    complaints = [error.message for error in report.errors]
    complaints += [error.message for task in report.tasks for error in task.errors]
    expect("the validator's complaints", complaints, [])
    print(f"ok      a mounted sensor: {len(rows)} minutes, {len(days)} days")
    return 0


if __name__ == "__main__":
    sys.exit(main())
