#!/usr/bin/env python3
# undim-importer: name tide-box
# undim-importer: version 1.0
# undim-importer: reads the memory of a tide box: a start, then seconds, place and light
# undim-importer: mark TIDEBOX
"""Reads what an invented logger called tide box keeps:

    TIDEBOX 3
    start 2026-03-14 12:00:00 +01:00
    +0 reef-top 212.5
    +5 sand ----

A start with its offset, then for each reading the seconds since, the place, and the light in umol.m-2.s-1.
"""

import csv
import sys
from datetime import datetime, timedelta


class Refused(Exception):
    """Why the file can't be used: the line, and a sentence."""


def say(text):
    print(text, file=sys.stderr)


def start_of(number, words):
    try:
        return datetime.strptime(" ".join(words), "%Y-%m-%d %H:%M:%S %z")
    except ValueError:
        raise Refused(number, "the start should be as 2026-03-14 12:00:00 +01:00") from None


def reading(number, start, words):
    if start is None:
        raise Refused(number, "a reading stands before the start that its seconds count from")
    try:
        seconds, station, light = words
        time = start + timedelta(seconds=int(seconds))
    except (ValueError, OverflowError):
        raise Refused(number, "here seconds, a place and a value should stand") from None
    try:
        light = float(light)
    except ValueError:
        # The logger writes ---- where it missed one; anything else is worth a word. Both stay rows without a value.
        if light.strip("-"):
            say(f"line {number}, column 3: \"{light}\" is no number")
        light = ""
    return [number, time.isoformat(), light, station]


def main():
    rows = csv.writer(sys.stdout, lineterminator="\n")
    rows.writerow(["row", "time", "value", "station"])
    say("found unit = umol.m-2.s-1")
    start = None
    for number, line in enumerate(sys.stdin.buffer, 1):
        if len(line) > 200:
            raise Refused(number, "this line is longer than any should be")
        words = line.decode("utf-8", "replace").split()
        if not words or words[0] == "TIDEBOX":
            continue
        if words[0] == "start":
            start = start_of(number, words[1:])
        else:
            rows.writerow(reading(number, start, words))


try:
    main()
except Refused as refused:
    number, text = refused.args
    say(f"failure: line {number}: {text}")
    sys.exit(1)
