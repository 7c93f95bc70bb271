"""Holds undim's finding out of delimiter, header line and decimal mark against labels made by eye.

`files.tsv` names files in packages of the Python package index: package, version, path in its archive, and what a person
sees in the file. The delimiter is one character, `tab`, `blanks` or `none` (one column); header line 0 means that no
line names the columns; of several lines of names the first counts; decimal `-` means that no number has decimals. Files
whose cells hold no number at all are not in the table: they hold no readings. csv.Sniffer and clevercsv see the same
files, their first 16 KiB. Where a package can't be fetched its files are named and not counted.

No file here holds light as a keeper reads it: one that is read without a question is read wrongly.
"""

import csv
import json
import pathlib
import subprocess
import sys
import tarfile
import zipfile

import clevercsv

HERE = pathlib.Path(__file__).parent
LEAST = {"delimiter": 0.99, "header": 0.98}
LEAST_FILES = 150


def fetch(package, version, folder):
    """The package's archive, fetched once; a wheel, else the source."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind in ("--only-binary", "--no-binary"):
        known = [file for file in folder.iterdir() if not file.name.startswith(".")]
        if known:
            return known[0]
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
        subprocess.run(
            [*command, kind, ":all:", "--dest", str(folder), f"{package}=={version}"],
            capture_output=True,
            check=False,
        )
    known = list(folder.iterdir())
    return known[0] if known else None


def members(archive):
    """Names in the archive and how to read them."""
    if archive.name.endswith((".whl", ".zip")):
        opened = zipfile.ZipFile(archive)
        return opened.namelist(), opened.read
    opened = tarfile.open(archive)
    return opened.getnames(), lambda name: opened.extractfile(name).read()


def start_of(data):
    text = data[: 16 << 10].decode("utf-8", "replace")
    return text[: text.rfind("\n") + 1] or text


def sniffed(find, data):
    try:
        found = find(start_of(data))
    except Exception:
        return "?"
    return {" ": "blanks", "\t": "tab", "": "none"}.get(found, found)


def look(undim, file):
    done = subprocess.run([undim, "look", str(file), "--json"], capture_output=True, text=True, check=False)
    try:
        return json.loads(done.stdout)
    except json.JSONDecodeError:
        return {"assumed": {}, "readings": 0, "problem": done.stderr.strip()}


def main():
    undim, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    with open(HERE / "files.tsv", encoding="utf-8") as table:
        rows = list(csv.DictReader(table, delimiter="\t", quoting=csv.QUOTE_NONE))
    archives, results, missing = {}, [], []
    for row in rows:
        key = (row["package"], row["version"])
        if key not in archives:
            archive = fetch(*key, folder / "archives" / "-".join(key))
            archives[key] = members(archive) if archive else None
        names, read = archives[key] or ([], None)
        name = next((name for name in names if name == row["path"] or name.endswith("/" + row["path"])), None)
        if name is None:
            missing.append(row)
            continue
        data = read(name)
        file = folder / "unpacked" / "-".join(key) / row["path"]
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
        told = look(undim, file)
        assumed = told["assumed"]
        results.append(
            {
                "row": row,
                "delimiter": assumed.get("delimiter") or "-",
                "header": str(assumed.get("header_line", "-")),
                "decimal": assumed.get("decimal") or "-",
                "sniffer": sniffed(lambda text: csv.Sniffer().sniff(text).delimiter, data),
                "clevercsv": sniffed(lambda text: clevercsv.Sniffer().sniff(text).delimiter, data),
                "readings": told["readings"],
            }
        )
    report(results, missing)


def report(results, missing):
    print(f"{'file':64} {'seen':16} {'undim':16} {'sniffer':8} clevercsv")
    for one in results:
        row = one["row"]
        seen = f"{row['delimiter']} {row['header_line']} {row['decimal']}"
        undim = f"{one['delimiter']} {one['header']} {one['decimal']}"
        name = f"{row['package']} {row['path']}"
        right = is_right(one, "delimiter") and is_right(one, "header") and is_right(one, "decimal")
        print(f"{name[-64:]:64} {seen:16} {undim:16} {one['sniffer']!r:8} {one['clevercsv']!r} {'' if right else '<-'}")
    for row in missing:
        print(f"not fetched: {row['package']} {row['version']} {row['path']}")
    print()
    shares = {}
    for title, wanted in (("all", results), ("not by commas", [r for r in results if r["row"]["delimiter"] != ","])):
        share = {what: sum(is_right(one, what) for one in wanted) / max(len(wanted), 1) for what in WHAT}
        shares[title] = share
        print(f"{title}: {len(wanted)} files; " + ", ".join(f"{what} {share[what]:.1%}" for what in WHAT))
    wrongly = [one for one in results if one["readings"]]
    for one in wrongly:
        print(f"read without a question: {one['row']['package']} {one['row']['path']}, {one['readings']} readings")
    good = all(shares["all"][what] >= least for what, least in LEAST.items())
    if len(results) < LEAST_FILES:
        sys.exit(f"dialects: only {len(results)} of the files could be fetched, of {LEAST_FILES} wanted")
    if not good or wrongly:
        sys.exit("dialects: not good enough")


WHAT = ("delimiter", "header", "decimal", "sniffer", "clevercsv")


def is_right(one, what):
    row = one["row"]
    if what == "header":
        return one["header"] == row["header_line"]
    if what == "decimal":
        return row["decimal"] in ("-", one["decimal"])
    # A file of one column has no delimiter to find: no answer is right.
    return one[what] == row["delimiter"] or row["delimiter"] == "none" and one[what] == "?"


if __name__ == "__main__":
    main()
