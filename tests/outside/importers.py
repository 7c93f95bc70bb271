"""Holds what `undim look FILE --rows` gives of spreadsheets and JSON against independent readers of the same files."""

import csv
import io
import json
import math
import subprocess
import sys
from datetime import datetime, timezone
from pathlib import Path

import openpyxl

REPOSITORY = Path(__file__).resolve().parents[2]


def rows_of(undim: str, file: Path) -> list[dict[str, str]]:
    """Every row as the program reads it."""
    run = subprocess.run([undim, "look", file, "--rows"], capture_output=True, text=True, check=False)
    if run.returncode != 0:
        raise ValueError(f"{file}: {run.stdout}{run.stderr}")
    return list(csv.DictReader(io.StringIO(run.stdout)))


def same(seen: str, wanted: object) -> bool:
    """True for one number, or for nothing on both sides."""
    is_number = isinstance(wanted, (int, float)) and not isinstance(wanted, bool) and math.isfinite(wanted)
    return float(seen) == wanted if seen and is_number else not seen and not is_number


def check_sheet(undim: str, file: Path) -> int:
    """Time and value of every row of a book, beside openpyxl (which reads the results that the book holds)."""
    sheet = openpyxl.load_workbook(file, data_only=True).worksheets[0]
    table = [[cell.value for cell in row] for row in sheet.iter_rows()]
    head = next(n for n, row in enumerate(table) if "PPFD" in row)
    value = table[head].index("PPFD")
    time = next(n for n, name in enumerate(table[head]) if str(name).lower() == "time")
    seen = rows_of(undim, file)
    for row in seen:
        wanted = table[int(row["row"]) - 1]
        if not same(row["value"], wanted[value]):
            raise ValueError(f"{file}: row {row['row']}: {row['value']} beside {wanted[value]}")
        if datetime.fromisoformat(row["time"]).replace(tzinfo=None) != wanted[time]:
            raise ValueError(f"{file}: row {row['row']}: {row['time']} beside {wanted[time]}")
    return len(seen)


def check_records(undim: str, file: Path) -> int:
    """Time and value of a list of objects, beside Python's json."""
    records = json.loads(file.read_text(encoding="utf-8"))
    seen = rows_of(undim, file)
    if len(seen) != len(records):
        raise ValueError(f"{file}: {len(seen)} rows of {len(records)} records")
    for row, record in zip(seen, records):
        at = datetime.fromisoformat(record["time"])
        if not same(row["value"], record["ppfd"]) or datetime.fromisoformat(row["time"]) != at:
            raise ValueError(f"{file}: {row} beside {record}")
    return len(seen)


def check_senml(undim: str, file: Path) -> int:
    """Light of a SenML pack, resolved here by the rules of RFC 8428, 4.6."""
    base = {"bn": "", "bt": 0.0, "bu": "", "bv": 0.0}
    wanted = {}
    for number, record in enumerate(json.loads(file.read_text(encoding="utf-8")), 1):
        base.update({key: record[key] for key in base if key in record})
        if record.get("u", base["bu"]) in ("lx", "W/m2"):
            value = record["v"] + base["bv"] if "v" in record else None
            wanted[number] = (base["bt"] + record.get("t", 0), value, base["bn"] + record.get("n", ""))
    seen = rows_of(undim, file)
    if [int(row["row"]) for row in seen] != list(wanted):
        raise ValueError(f"{file}: rows {[row['row'] for row in seen]} beside {list(wanted)}")
    for row in seen:
        at, value, name = wanted[int(row["row"])]
        time = datetime.fromisoformat(row["time"]).astimezone(timezone.utc).timestamp()
        if not same(row["value"], value) or abs(time - at) > 1e-6 or row["device"] != name:
            raise ValueError(f"{file}: {row} beside {wanted[int(row['row'])]}")
    return len(seen)


def main() -> None:
    """Reads the cases of the importers for spreadsheets and records."""
    undim = sys.argv[1]
    plugins = REPOSITORY / "plugins"
    count = 0
    for case in ("plain", "plain-office-xlsx", "dates-1904", "formulas-office-xlsx", "away-from-the-corner"):
        count += check_sheet(undim, plugins / "sheet/cases" / case / "input.xlsx")
    count += check_records(undim, plugins / "records/cases/array-of-objects/input.json")
    for case in ("senml-light", "senml-mixed", "senml-base-value"):
        count += check_senml(undim, plugins / "records/cases" / case / "input.json")
    print(f"{count} rows of spreadsheets and JSON agree with other readers")


if __name__ == "__main__":
    main()
