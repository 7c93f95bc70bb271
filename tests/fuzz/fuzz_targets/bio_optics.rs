//! Whatever a keeper drops: the importer `bio-optics` comes back with rows, a question or a reason, and never
//! with a value that is no number. The first byte chooses a layout, so that layouts are fuzzed as well.

#![no_main]

use libfuzzer_sys::fuzz_target;
use undim_importer_bio_optics::BioOptics;
use undim_sdk::OptionKind;
use undim_sdk::testing::{Setting, probe, run};

fuzz_target!(|bytes: &[u8]| {
    let Some((first, file)) = bytes.split_first() else { return };
    let layouts: [&[Setting]; 3] = [
        &[],
        &[("columns.z.from", OptionKind::Text, "depth")],
        &[("columns.value.from", OptionKind::Text, "par"), ("columns.value.unit", OptionKind::Text, "lx")],
    ];
    assert!(probe::<BioOptics>(file, "fuzz") <= 100);
    let outcome = run::<BioOptics>(file, "fuzz", layouts[usize::from(*first) % layouts.len()]);
    for row in &outcome.rows {
        assert!(row.row >= 1, "rows count from 1");
        for number in [row.value, row.x, row.y, row.z].into_iter().flatten() {
            assert!(number.is_finite(), "no value is infinite or no number");
        }
    }
});
