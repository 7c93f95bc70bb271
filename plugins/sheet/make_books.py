"""Writes the books of this importer's cases again: with openpyxl, and with LibreOffice where the case says so.

    python -m pip install openpyxl==3.1.5
    python plugins/sheet/make_books.py

Books hold the time at which they were made, so that they differ byte by byte each time; what they hold doesn't.
"""

import shutil
import subprocess
import tempfile
from datetime import date, datetime, time, timedelta
from pathlib import Path

from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

CASES = Path(__file__).parent / "cases"
NAMES = ["Time", "x (cm)", "y (cm)", "z (cm)", "PPFD"]


def rows(count=3):
    for n in range(count):
        yield [datetime(2026, 4, 3, 0, 0, 0) + timedelta(seconds=5 * n), 10 + n, 20.5, 30, 200.125 + n]


def table(sheet, count=3):
    sheet.append(NAMES)
    for row in rows(count):
        sheet.append(row)


def save(book, name, ending="xlsx", office=False):
    folder = CASES / name
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("input.*"):
        old.unlink()
    if not office:
        book.save(folder / "input.xlsx")
        return
    with tempfile.TemporaryDirectory() as place:
        made = Path(place) / "made.xlsx"
        book.save(made)
        out = Path(place) / "out"
        profile = f"-env:UserInstallation=file://{place}/profile"
        subprocess.run(
            ["soffice", profile, "--headless", "--convert-to", ending, "--outdir", out, made],
            check=True,
            capture_output=True,
        )
        shutil.copy(out / f"made.{ending}", folder / f"input.{ending}")


def plain():
    book = Workbook()
    table(book.active)
    save(book, "plain")
    for ending in ("xlsx", "xls", "ods"):
        save(book, f"plain-office-{ending}", ending, office=True)


def merged():
    book = Workbook()
    sheet = book.active
    sheet.append(["Reef survey, spring"])
    sheet.merge_cells("A1:F1")
    sheet.append([])
    sheet.append(["Point", "Position (cm)", None, None, "Light", None])
    sheet.merge_cells("B3:D3")
    sheet.merge_cells("E3:F3")
    sheet.append([None, "x", "y", "z", "PAR (µmol/m²/s)", "remark"])
    sheet.merge_cells("A3:A4")
    for n in range(4):
        sheet.append(["reef-top" if n == 0 else None, n, 2, 3, 100.5 + n, "cloud" if n == 2 else None])
    sheet.merge_cells("A5:A8")
    save(book, "merged-header")
    save(book, "merged-header-xls", "xls", office=True)


def sheets():
    book = Workbook()
    book.active.title = "Notes"
    book.active.append(["Kept by the evening shift"])
    book.active.append(["Sensor wiped before"])
    table(book.create_sheet("April"))
    hidden = book.create_sheet("Old")
    table(hidden)
    hidden.sheet_state = "hidden"
    save(book, "one-of-three-sheets")
    save(book, "hidden-named")
    save(book, "one-of-three-sheets-ods", "ods", office=True)
    book.create_sheet("May")
    table(book["May"], 2)
    save(book, "two-sheets")
    save(book, "two-sheets-settled")
    save(book, "no-such-sheet")


def epochs():
    for name, epoch in (("serials-1904", CALENDAR_MAC_1904), ("serials-1900", None)):
        book = Workbook()
        if epoch:
            book.epoch = epoch
        sheet = book.active
        sheet.append(["date", "station", "PPFD"])
        start = 44653 if epoch else 46115
        for n in range(3):
            sheet.append([start + n / 4, "cave", 50.5 + n])
        save(book, name)
    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    table(book.active)
    save(book, "dates-1904")
    book = Workbook()
    sheet = book.active
    sheet.append(["Datum", "Uhrzeit", "Messpunkt", "PPFD"])
    for n in range(3):
        sheet.append([20260403 + n, time(10, 5 * n, 30), "A", 50.5 + n])
    save(book, "dates-as-numbers")
    book = Workbook()
    sheet = book.active
    sheet.append(["date", "elapsed", "station", "PPFD"])
    for n in range(3):
        sheet.append([date(2026, 4, 3), timedelta(hours=10, minutes=n), "A", 50.5 + n])
        sheet.cell(n + 2, 2).number_format = "[h]:mm:ss"
    sheet.cell(1, 2).value = "time"
    save(book, "durations")


def formulas():
    book = Workbook()
    sheet = book.active
    sheet.append(["time", "station", "raw", "PPFD"])
    for n in range(3):
        sheet.append([datetime(2026, 4, 3, 10, n), "A", 100 + n, f"=C{n + 2}*1.5"])
    sheet.append([datetime(2026, 4, 3, 10, 3), "A", None, "=1/0"])
    sheet.append([datetime(2026, 4, 3, 10, 4), "A", None, "=NA()"])
    save(book, "formulas-without-results")
    for ending in ("xlsx", "xls", "ods"):
        save(book, f"formulas-office-{ending}", ending, office=True)


def odd():
    book = Workbook()
    sheet = book.active
    for n, row in enumerate([NAMES, *rows(3)]):
        for column, cell in enumerate(row):
            sheet.cell(n + 6, column + 3).value = cell
    sheet["C2"] = "Tank: harbour"
    sheet["C11"] = "Mean"
    sheet["G11"] = "=AVERAGE(G7:G9)"
    save(book, "away-from-the-corner", "xlsx", office=True)
    book = Workbook()
    sheet = book.active
    sheet.append(["time", "PAR left", "PAR right"])
    sheet.append([datetime(2026, 4, 3, 10), 1.5, 2.5])
    save(book, "two-lights")
    book = Workbook()
    save(book, "empty-book")
    sheet = book.active
    sheet.append(["time", "station", "PPFD"])
    sheet.append([datetime(2026, 4, 3, 10), "A", "1,234"])
    sheet.append([datetime(2026, 4, 3, 11), "A", "2,345"])
    save(book, "numbers-as-text")


if __name__ == "__main__":
    for make in (plain, merged, sheets, epochs, formulas, odd):
        make()
