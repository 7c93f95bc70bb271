//! Whatever a keeper drops: the importer `sheet` comes back with rows, a question or a reason, and never
//! with a value that is no number. The first byte chooses a layout, so that layouts are fuzzed as well.

#![no_main]

use libfuzzer_sys::fuzz_target;
use undim_importer_sheet::SheetImporter;
use undim_sdk::OptionKind;
use undim_sdk::testing::{Setting, probe, run};

fuzz_target!(
    // The reader of spreadsheets may panic on a damaged book: the importer's barrier turns that into a reason.
    init: std::panic::set_hook(Box::new(|_| {})),
    |bytes: &[u8]| {
    let Some((first, file)) = bytes.split_first() else { return };
    let layouts: [&[Setting]; 3] = [
        &[],
        &[("sheet", OptionKind::Integer, "2")],
        &[("header", OptionKind::Integer, "2"), ("columns.value.from", OptionKind::Integer, "1")],
    ];
    assert!(probe::<SheetImporter>(file, "fuzz") <= 100);
    let outcome = run::<SheetImporter>(file, "fuzz", layouts[usize::from(*first) % layouts.len()]);
    for row in &outcome.rows {
        assert!(row.row >= 1, "rows count from 1");
        for number in [row.value, row.x, row.y, row.z].into_iter().flatten() {
            assert!(number.is_finite(), "no value is infinite or no number");
        }
    }
});
