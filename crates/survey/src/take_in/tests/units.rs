//! Units and corrections as readings meet them (formats, section 10, intake and corrections).

use super::*;
use undim_model::{Fit, FitModel, Medium};

fn lux(case: &mut Case, sensitivity: Option<f64>) {
    let mut made = correction();
    made.sensitivity = sensitivity.map(|value| Factor { value, u: 0.0 });
    let phone = case.phone();
    phone.unit_code = Some("lx".to_owned());
    phone.unit = Some(DeviceUnit::Illuminance(1.0));
    phone.corrections = vec![made];
}

#[test]
fn the_rows_unit_then_the_devices_then_the_assumed_one() {
    let table =
        "time, value, unit, station\n12:00, 200, , a\n12:01, 0.2, mmol.m-2.s-1, b\n12:02, 200, ' ', c";
    let table = table.replace('\'', "");
    let read = case([file("a.csv", &table)]);
    check_readings(
        &read,
        "station, raw_unit, ppfd
         a, umol.m-2.s-1, 200
         b, mmol.m-2.s-1, 200
         c, umol.m-2.s-1, 200",
    );
    assert_eq!(read.done().survey.said, [""; 0]);
    let unknown = read.with(|case| case.devices.clear());
    check_readings(
        &unknown,
        "station, raw_unit, ppfd, flag, reasons
         a, umol.m-2.s-1, 200, 1, no-correction
         b, mmol.m-2.s-1, 200, 1, no-correction
         c, umol.m-2.s-1, 200, 1, no-correction",
    );
    let said = unknown.done().survey.said;
    assert_eq!(said.len(), 1, "once: {said:?}");
    assert!(said[0].contains("umol.m-2.s-1 was assumed"), "{said:?}");
}

#[test]
fn a_blank_unit_is_no_unit() {
    let mut read = case([file("a.csv", "time, value, station\n12:00, 200, a")]);
    read.files[0].rows[0].unit = Some("  ".into());
    check_readings(&read, "raw_unit, ppfd\numol.m-2.s-1, 200");
}

#[test]
fn without_a_way_to_micromol_a_value_is_not_evaluated() {
    let read = case([file(
        "a.csv",
        "time, value, unit, station\n12:00, 200, candles, reef-top\n12:01, 4000, lx, reef-top",
    )]);
    check_readings(
        &read,
        "raw, raw_unit, ppfd, u_ppfd, flag, reasons
         200, candles, , , 2, no-correction
         4000, lx, , , 2, no-correction",
    );
    check_stations(
        &read,
        "station, readings, used, ppfd, flag, reasons
         reef-top, 2, 0, , 4, no-correction",
    );
}

#[test]
fn a_device_that_reads_lux_needs_its_sensitivity() {
    let table = "time, value, station\n12:00, 10000, a\n12:01, 10, b";
    let mut with_klx = case([file("a.csv", table)]).with(|case| lux(case, Some(0.0185)));
    with_klx.files[0].rows[1].unit = Some("klx".into());
    check_readings(
        &with_klx,
        "station, raw_unit, ppfd, flag, reasons
         a, lx, 185, 1,
         b, klx, 185, 1,",
    );
    let without = case([file("a.csv", table)]).with(|case| lux(case, None));
    check_readings(
        &without,
        "station, raw_unit, ppfd, flag, reasons
         a, lx, , 2, no-correction
         b, lx, , 2, no-correction",
    );
    // In µmol already: the sensitivity has been applied by whoever wrote the file.
    let mut converted = case([file("a.csv", table)]).with(|case| lux(case, Some(0.0185)));
    for row in &mut converted.files[0].rows {
        row.unit = Some("umol.m-2.s-1".into());
    }
    check_readings(&converted, "station, ppfd, flag\na, 10000, 1\nb, 10, 1");
}

#[test]
fn before_the_first_valid_day_nothing_is_applied() {
    let read = case([file(
        "a.csv",
        "time, value, station\n2026-02-28 23:59, 100, a\n2026-03-01 00:00, 100, b",
    )])
    .with(|case| case.phone().corrections[0].spectral = Factor { value: 0.9, u: 0.0 });
    check_readings(
        &read,
        "station, ppfd, flag, reasons
         a, 100, 1, no-correction
         b, 90, 1,",
    );
    // A reference that nobody corrects needs no correction.
    let hired = case([file(
        "a.csv",
        "time, value, station, device\n12:00, 100, a, hired",
    )]);
    check_readings(&hired, "ppfd, flag, reasons\n100, 1,");
}

#[test]
fn another_scene_or_medium_is_said() {
    let read = |scene: Option<&str>| {
        let table =
            "time, value, x, y, z\n12:00, 100, 10, 50, 10\n12:01, 100, 20, 50.5, 10\n12:02, 100, 30, , 10";
        let mut read = case([file("a.csv", table)]).with(|case| {
            let made = &mut case.phone().corrections[0];
            made.scenes = vec!["noon".to_owned()];
            made.medium = Some(Medium::Water);
            made.spectral = Factor { value: 0.9, u: 0.0 };
        });
        read.files[0].source.station_note = Some("a".to_owned());
        read.scene = scene.map(str::to_owned);
        read
    };
    // At the surface is under water, above it is air, and an unknown height counts as water.
    check_readings(
        &read(Some("noon")),
        "row, ppfd, flag, reasons
         2, 90, 1,
         3, 90, 3, other-spectrum
         4, 90, 1,",
    );
    for scene in [Some("blue"), None] {
        check_readings(
            &read(scene),
            "row, ppfd, flag, reasons
             2, 90, 3, other-spectrum
             3, 90, 3, other-spectrum
             4, 90, 3, other-spectrum",
        );
    }
}

#[test]
fn immersion_only_under_water() {
    let read = case([file(
        "a.csv",
        "time, value, x, y, z\n12:00, 100, 10, 40, 10\n12:01, 100, 10, 52, 10",
    )])
    .with(|case| case.phone().corrections[0].immersion = Factor { value: 1.3, u: 0.0 });
    check_readings(&read, "row, ppfd\n2, 130\n3, 100");
}

#[test]
fn beyond_the_fit_the_tangent_holds_and_is_said() {
    let read = case([file(
        "a.csv",
        "time, value, station\n12:00, 900, a\n12:01, 1000, b\n12:02, 20, c\n12:03, 19, d",
    )])
    .with(|case| {
        case.phone().corrections[0].fit = Some(Fit {
            model: FitModel::Line,
            coefficients: vec![10.0, 1.0],
            covariance: vec![vec![0.0, 0.0], vec![0.0, 0.0]],
            over: Some([20.0, 900.0]),
            pairs: Some(42),
            reference: Some("hired".to_owned()),
        });
        let phone = case.phone();
        (phone.rezero_percent, phone.repeat_percent) = (0.0, 0.0);
        case.devices.get_mut("hired").unwrap().cal_percent = 0.0;
    });
    // Beyond it u is a tenth of the distance to the end (formats, section 10, corrections).
    check_readings(
        &read,
        "station, ppfd, u_shared, flag, reasons
         a, 910, 0, 1,
         b, 1010, 10, 3, beyond-correction
         c, 30, 0, 1,
         d, 29, 0.1, 3, beyond-correction",
    );
    let survey = read.done().survey;
    assert!(survey.tied_to_reference);
    assert_eq!(&*survey.stations[0].correction, "phone/2026-03-01/1");
}

#[test]
fn too_many_units_are_no_units() {
    let mut read = case([file("a.csv", "time, value, station\n12:00, 200, a")]);
    let row = read.files[0].rows[0].clone();
    read.files[0].rows = (0..=MOST_UNITS)
        .map(|number| ImportedRow {
            unit: Some(format!("unit{number}").into()),
            ..row.clone()
        })
        .collect();
    assert_eq!(read.refused(), TakeInError::TooManyUnits);
}
