//! Whatever a keeper drops: the delimited importer comes back with rows, a question or a reason, and never with a value
//! that is no number. The first byte chooses a layout, so that layouts are fuzzed as well.

#![no_main]

use libfuzzer_sys::fuzz_target;
use undim_importer_delimited::Delimited;
use undim_sdk::OptionKind;
use undim_sdk::testing::{Setting, probe, run};

fuzz_target!(|bytes: &[u8]| {
    let Some((first, file)) = bytes.split_first() else { return };
    let layouts: [&[Setting]; 4] = [
        &[],
        &[("columns.time.from", OptionKind::Text, "1"), ("columns.value.from", OptionKind::Text, "2"), ("header", OptionKind::Integer, "0")],
        &[("delimiter", OptionKind::Text, ";"), ("decimal", OptionKind::Text, ","), ("columns.time.format", OptionKind::Text, "%d.%m.%Y %H:%M:%S")],
        &[("skip", OptionKind::Integer, "2"), ("units_row", OptionKind::Boolean, "true"), ("note.date", OptionKind::Date, "2026-03-14")],
    ];
    assert!(probe::<Delimited>(file, "fuzz.csv") <= 100);
    let outcome = run::<Delimited>(file, "fuzz.csv", layouts[usize::from(*first) % layouts.len()]);
    for row in &outcome.rows {
        assert!(row.row >= 1, "rows count from 1");
        for number in [row.value, row.x, row.y, row.z].into_iter().flatten() {
            assert!(number.is_finite(), "no value is infinite or no number");
        }
    }
    if let Err(failure) = outcome.result {
        let told = format!("{failure:?}");
        assert!(!told.contains("panic"), "a panic is a fault of the importer: {told}");
    }
});
