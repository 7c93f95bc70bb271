//! Tests of finding out a column's time format.

use super::*;
use crate::datetime::{Day, days};

fn wall(year: i32, month: u32, day: u32, hour: i64, minute: i64) -> Moment {
    Moment::Wall(days(Day { year, month, day }) * DAY + (hour * 3600 + minute * 60) * SECOND)
}

fn found(cells: &[&str], hints: Hints) -> Option<Candidate> {
    match find(cells, hints) {
        Verdict::Found(candidate) => Some(candidate),
        _ => None,
    }
}

#[test]
fn one_cell_is_enough_where_it_is_clear() {
    let want = wall(2026, 4, 23, 14, 5);
    for cell in [
        "2026-04-23 14:05:00",
        "2026-04-23T14:05",
        "2026/04/23 14:05",
        "2026.04.23. 14:05",
        "23.04.2026 14:05",
        "23. 4. 2026 14:05",
        "23/04/2026, 14:05:00",
        "04/23/2026 2:05 PM",
        "4/23/2026 02:05:00 p.m.",
        "23-Apr-2026 14:05",
        "23 avril 2026 14h05",
        "23 de abril de 2026 14:05",
        "23. April 2026 14:05 Uhr",
        "April 23, 2026 14:05",
        "Thu Apr 23 14:05:00 2026",
        "Do. 23.04.2026 14:05",
        "Thu, 23 Apr 2026 14:05:00",
        "23APR2026 14:05",
        "20260423 14:05",
        "20260423T140500",
        "20260423140500",
        "202604231405",
        "20260423 1405",
        "14:05 23.04.2026",
        "2026\u{5e74}4\u{6708}23\u{65e5} 14:05",
        "2026\u{5e74}4\u{6708}23\u{65e5} 14\u{6642}5\u{5206}",
        "23.04.2026 14.05",
        "2026-04-23_14-05-00",
    ] {
        let candidate = found(&[cell], Hints::default())
            .unwrap_or_else(|| panic!("{cell}: {:?}", find(&[cell], Hints::default())));
        assert_eq!(candidate.clock.read(cell, None), Some(want), "{cell}");
        // What is offered for a layout reads the same.
        let written = Format::new(&candidate.clock.text().replace("unix", "%s")).unwrap();
        assert_eq!(
            parse::moment(&written, cell, None),
            Some(want),
            "{cell} by {}",
            written.text
        );
    }
}

#[test]
fn offsets_make_instants() {
    let want = wall(2026, 4, 23, 14, 5);
    for cell in [
        "2026-04-23T14:05:00Z",
        "2026-04-23T16:05:00+02:00",
        "23.04.2026 15:05 +0100",
        "2026-04-23 14:05 UTC",
        "1776953100",
    ] {
        let candidate = found(&[cell], Hints::default()).unwrap_or_else(|| panic!("{cell}"));
        assert_eq!(
            candidate.clock.read(cell, None),
            Some(Moment::Instant(micros(want))),
            "{cell}"
        );
    }
}

#[test]
fn spreadsheet_days() {
    let candidate = found(&["46115.4166666667", "46115,5"], Hints::default()).unwrap();
    assert_eq!(
        candidate.clock.read("46115.4166666667", None),
        Some(wall(2026, 4, 3, 10, 0))
    );
    assert_eq!(
        candidate.clock.read("46115,5", None),
        Some(wall(2026, 4, 3, 12, 0))
    );
}

#[test]
fn asks_where_two_orders_fit() {
    for cell in [
        "03/04/2026",
        "03-04-2026 10:00",
        "3/4/2026 10:00 AM",
        "03042026",
        "03/04/26",
        "26-04-03",
        "260403",
    ] {
        assert!(
            matches!(find(&[cell], Hints::default()), Verdict::Ambiguous(_)),
            "{cell}"
        );
    }
    // The same day either way leaves nothing to ask.
    assert!(found(&["04/04/2026"], Hints::default()).is_some());
}

#[test]
fn one_row_decides_for_all() {
    let candidate = found(&["03/04/2026", "04/04/2026", "13/04/2026"], Hints::default()).unwrap();
    assert_eq!(candidate.order, Order::DayFirst);
    let candidate = found(&["03/04/2026", "03/14/2026"], Hints::default()).unwrap();
    assert_eq!(candidate.order, Order::MonthFirst);
}

#[test]
fn custom_decides_where_it_can() {
    let day_first = Hints {
        day_first: true,
        ..Hints::default()
    };
    assert_eq!(
        found(&["03.04.2026"], Hints::default()).unwrap().order,
        Order::DayFirst
    );
    assert_eq!(found(&["03/04/2026"], day_first).unwrap().order, Order::DayFirst);
    let date = Some(Leaning::Date);
    assert_eq!(
        found(
            &["03.04.26"],
            Hints {
                leaning: date,
                ..day_first
            }
        )
        .unwrap()
        .order,
        Order::DayFirst
    );
    // Without a word in the header it might be four minutes past three.
    assert!(found(&["03.04.26"], day_first).is_none());
    assert!(found(&["03-04-26"], day_first).is_none());
    assert!(found(&["03.04.26"], Hints::default()).is_none());
    assert!(found(&["03/04/2026 10:00 AM"], day_first).is_none());
    // A row beats custom.
    assert_eq!(
        found(&["03/04/2026", "03/14/2026"], day_first).unwrap().order,
        Order::MonthFirst
    );
    let stated = Hints {
        stated: Some(Order::MonthFirst),
        ..Hints::default()
    };
    assert_eq!(found(&["03/04/2026"], stated).unwrap().order, Order::MonthFirst);
    let japanese = Hints {
        year_first: true,
        ..Hints::default()
    };
    assert_eq!(found(&["26/04/03"], japanese).unwrap().order, Order::YearFirst);
}

#[test]
fn two_digit_years_that_scatter_are_no_years() {
    let candidate = found(
        &["25.12.26", "26.12.26", "27.12.26", "28.12.26", "31.12.26"],
        Hints::default(),
    )
    .unwrap();
    assert_eq!(candidate.order, Order::DayFirst);
}

#[test]
fn what_is_no_time_is_none() {
    for cells in [
        &["12.5", "13.2"][..],
        &["abc"],
        &["A1", "A2"],
        &["0", "1", "2"],
        &["99:99"],
        &["31.02.2026"],
        &[""],
        &[],
    ] {
        assert_eq!(find(cells, Hints::default()), Verdict::None, "{cells:?}");
    }
}

#[test]
fn a_clock_running_through_midnight_decides() {
    let cells = ["03/04/2026 23:50", "03/04/2026 23:59", "04/04/2026 00:05"];
    let Verdict::Ambiguous(candidates) = find(&cells, Hints::default()) else {
        panic!()
    };
    let readings: Vec<Vec<Option<i64>>> = candidates
        .iter()
        .map(|candidate| {
            cells
                .iter()
                .map(|cell| candidate.clock.read(cell, None).map(micros))
                .collect()
        })
        .collect();
    let at = runs_through_midnight(&readings).unwrap();
    assert_eq!(candidates[at].order, Order::DayFirst);
}

#[test]
fn header_hints() {
    for (text, want) in [
        ("dd/mm/yyyy", Some(Order::DayFirst)),
        ("Datum (TT.MM.JJJJ)", Some(Order::DayFirst)),
        ("JJ/MM/AAAA", Some(Order::DayFirst)),
        ("gg/mm/aaaa", Some(Order::DayFirst)),
        ("mm/dd/yy hh:mm", Some(Order::MonthFirst)),
        ("yyyymmdd", Some(Order::YearFirst)),
        ("yyyy-mm-dd", Some(Order::YearFirst)),
        ("mm", None),
        ("umol", None),
    ] {
        assert_eq!(hint(text), want, "{text}");
    }
}
