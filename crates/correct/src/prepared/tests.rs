//! Whole chains by hand, and what stands when no correction does.

use super::*;
use jiff::civil::date;
use proptest::prelude::*;
use undim_model::{DateSpan, Factor, Fit, FitModel};

const MARCH: Date = date(2026, 3, 1);
const MICROMOL: Option<DeviceUnit> = Some(DeviceUnit::MICROMOL);
const MILLIVOLT: DeviceUnit = DeviceUnit::Voltage(1.0);
const VOLT: DeviceUnit = DeviceUnit::Voltage(1000.0);
const LUX: DeviceUnit = DeviceUnit::Illuminance(1.0);

fn exact(value: f64) -> Factor {
    Factor { value, u: 0.0 }
}

fn plain(from: Date) -> Correction {
    Correction {
        span: DateSpan {
            from: Some(from),
            until: None,
        },
        scenes: vec![],
        medium: None,
        blend: false,
        dark: exact(0.0),
        sensitivity: None,
        spectral: exact(1.0),
        immersion: exact(1.0),
        fit: None,
    }
}

fn line(coefficients: [f64; 2], over: Option<[f64; 2]>) -> Fit {
    Fit {
        model: FitModel::Line,
        coefficients: coefficients.to_vec(),
        covariance: vec![vec![1.0, 0.0], vec![0.0, 0.0004]],
        over,
        pairs: Some(42),
        reference: Some("hired-reference".to_owned()),
    }
}

fn device(unit: Option<DeviceUnit>, corrections: Vec<Correction>) -> Device {
    Device {
        unit,
        corrections,
        declared: true,
        ..Device::undeclared("bagged-phone")
    }
}

fn on(day: Date, medium: Medium) -> When<'static> {
    When {
        day,
        scene: Some("noon"),
        medium,
    }
}

fn prepared(device: &Device, unit: Option<DeviceUnit>) -> Prepared {
    prepare(device, |_| None, unit, &on(MARCH, Medium::Water))
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!(
        (found - expected).abs() <= 1e-9 * expected.abs().max(1.0),
        "{found} is not {expected}"
    );
}

#[track_caller]
fn ppfd(corrected: Corrected, expected: f64) {
    near(corrected.ppfd.unwrap(), expected);
}

#[test]
fn the_whole_chain_in_its_order() {
    let correction = Correction {
        dark: Factor { value: 2.0, u: 0.5 },
        sensitivity: Some(Factor { value: 5.0, u: 0.1 }),
        spectral: Factor { value: 0.8, u: 0.02 },
        immersion: Factor { value: 1.25, u: 0.05 },
        fit: Some(line([10.0, 1.1], None)),
        ..plain(MARCH)
    };
    let device = device(Some(MILLIVOLT), vec![correction]);
    // In water: v = (42 − 2) · 5 · 0.8 · 1.25 = 200; 10 + 1.1 · 200 = 230.
    let wet = prepared(&device, Some(MILLIVOLT)).apply(42.0);
    ppfd(wet, 230.0);
    near(wet.shared.get(SharedKind::Dark), 1.1 * 5.0 * 0.8 * 1.25 * 0.5);
    near(wet.shared.get(SharedKind::Sensitivity), 1.1 * 200.0 * 0.1 / 5.0);
    near(wet.shared.get(SharedKind::Spectral), 1.1 * 200.0 * 0.02 / 0.8);
    near(wet.shared.get(SharedKind::Immersion), 1.1 * 200.0 * 0.05 / 1.25);
    near(
        wet.shared.get(SharedKind::Fit),
        (1.0 + 0.0004 * 200.0_f64.powi(2)).sqrt(),
    );
    assert!(wet.reasons.is_empty());
    // In air without the immersion factor and its part: 10 + 1.1 · 160.
    let dry = prepare(&device, |_| None, Some(MILLIVOLT), &on(MARCH, Medium::Air)).apply(42.0);
    ppfd(dry, 186.0);
    assert_eq!(dry.shared.get(SharedKind::Immersion), 0.0);
}

#[test]
fn common_practice_a_bagged_phone_reads_ten_low_below_300() {
    // Common practice, no source: about 10 µmol m⁻² s⁻¹ low in the range below 300.
    let bag = Fit {
        model: FitModel::Offset,
        coefficients: vec![10.0],
        covariance: vec![vec![4.0]],
        over: Some([20.0, 300.0]),
        pairs: Some(12),
        reference: Some("hired-reference".to_owned()),
    };
    let device = device(
        MICROMOL,
        vec![Correction {
            fit: Some(bag),
            ..plain(MARCH)
        }],
    );
    let prepared = prepare(
        &device,
        |id| (id == "hired-reference").then_some(3.0),
        MICROMOL,
        &on(MARCH, Medium::Water),
    );
    let low = prepared.apply(90.0);
    ppfd(low, 100.0);
    near(low.shared.get(SharedKind::Fit), 2.0);
    near(low.shared.get(SharedKind::Calibration), 3.0);
    near(low.shared.get(SharedKind::Rezero), 2.0);
    near(low.u_repeat, 2.0);
    near(low.shared.total(), (4.0 + 9.0 + 4.0_f64).sqrt());
    assert!(low.reasons.is_empty());
    let high = prepared.apply(320.0);
    ppfd(high, 330.0);
    near(high.shared.get(SharedKind::Fit), 4.0);
    assert_eq!(high.reasons.to_string(), "beyond-correction");
    assert!(prepared.tied_to_reference());
}

#[test]
fn the_ends_of_over_count_as_inside() {
    let device = device(
        MICROMOL,
        vec![Correction {
            fit: Some(line([10.0, 1.0], Some([20.0, 900.0]))),
            ..plain(MARCH)
        }],
    );
    let prepared = prepared(&device, MICROMOL);
    for (raw, beyond) in [(20.0, false), (19.999, true), (900.0, false), (900.001, true)] {
        assert_eq!(
            prepared.apply(raw).reasons.has(Reason::BeyondCorrection),
            beyond,
            "{raw}"
        );
    }
}

#[test]
fn numbers_in_another_scale_come_to_the_devices_own_unit_first() {
    let correction = Correction {
        dark: exact(2.0),
        sensitivity: Some(exact(5.0)),
        ..plain(MARCH)
    };
    let in_millivolt = device(Some(MILLIVOLT), vec![correction.clone()]);
    ppfd(prepared(&in_millivolt, Some(VOLT)).apply(0.042), 200.0);
    ppfd(prepared(&in_millivolt, Some(MILLIVOLT)).apply(42.0), 200.0);
    // A device without a unit reads in the file's.
    ppfd(
        prepared(&device(None, vec![correction]), Some(VOLT)).apply(42.0),
        200.0,
    );
    // mmol to µmol, without and with a correction; the dark reading is in the device's unit.
    let millimol = Some(DeviceUnit::PhotonFlux(1000.0));
    ppfd(prepared(&device(None, vec![]), millimol).apply(0.2), 200.0);
    let dark = Correction {
        dark: exact(4.0),
        ..plain(MARCH)
    };
    ppfd(
        prepared(&device(MICROMOL, vec![dark]), millimol).apply(0.2),
        196.0,
    );
}

#[test]
fn sensitivity_is_ignored_where_the_reading_is_photon_flux_already() {
    let correction = Correction {
        dark: exact(2.0),
        sensitivity: Some(Factor { value: 5.0, u: 1.0 }),
        ..plain(MARCH)
    };
    let photon = prepared(&device(MICROMOL, vec![correction.clone()]), MICROMOL).apply(200.0);
    ppfd(photon, 198.0);
    assert_eq!(photon.shared.get(SharedKind::Sensitivity), 0.0);
    // The dark reading is in mV, and the logger that wrote µmol has been through it: neither is applied.
    ppfd(
        prepared(&device(Some(MILLIVOLT), vec![correction]), MICROMOL).apply(200.0),
        200.0,
    );
}

#[test]
fn no_way_to_micromol_gives_flag_two() {
    let everyday = device(Some(LUX), vec![plain(MARCH)]);
    let mut reference = device(Some(LUX), vec![]);
    reference.role = Role::Reference;
    let sensitive = Correction {
        sensitivity: Some(exact(0.02)),
        ..plain(MARCH)
    };
    let of_millivolt = device(Some(MILLIVOLT), vec![sensitive]);
    for (device, unit) in [
        (&everyday, Some(LUX)),
        (&everyday, None),
        (&reference, Some(LUX)),
        (&of_millivolt, Some(LUX)),
        (&of_millivolt, Some(DeviceUnit::Counts)),
    ] {
        let prepared = prepared(device, unit);
        let corrected = prepared.apply(5000.0);
        assert_eq!((corrected.ppfd, corrected.flag_two), (None, true));
        assert_eq!(corrected.reasons.to_string(), "no-correction");
        assert_eq!(&*prepared.key(), "");
        assert!(!prepared.tied_to_reference());
    }
}

#[test]
fn a_fit_to_the_references_scale_is_a_way_an_offset_is_not() {
    let fitted = |model, coefficients: &[f64]| {
        let fit = Fit {
            model,
            coefficients: coefficients.to_vec(),
            ..line([0.0, 0.0], None)
        };
        let device = device(
            Some(LUX),
            vec![Correction {
                fit: Some(fit),
                ..plain(MARCH)
            }],
        );
        (
            prepared(&device, Some(LUX)).apply(5000.0),
            prepared(&device, MICROMOL).apply(100.0),
        )
    };
    let (from_lux, from_micromol) = fitted(FitModel::Line, &[2.0, 0.02]);
    ppfd(from_lux, 102.0);
    // Its coefficients are for lx; a file in µmol must not go through them.
    ppfd(from_micromol, 100.0);
    assert_eq!(from_micromol.reasons.to_string(), "no-correction");
    assert!(fitted(FitModel::Offset, &[2.0]).0.flag_two);
}

#[test]
fn without_a_correction_the_reading_stands_as_it_is() {
    let everyday = device(MICROMOL, vec![plain(date(2026, 3, 2))]);
    let before = prepared(&everyday, MICROMOL);
    let corrected = before.apply(250.0);
    ppfd(corrected, 250.0);
    assert_eq!(corrected.reasons.to_string(), "no-correction");
    assert_eq!(corrected.shared.get(SharedKind::Calibration), 12.5);
    assert_eq!(&*before.key(), "");
    assert!(!before.tied_to_reference());
}

#[test]
fn a_reference_is_taken_as_it_reads() {
    let mut reference = device(MICROMOL, vec![]);
    reference.role = Role::Reference;
    reference.cal_percent = 3.0;
    reference.drift_percent_per_year = 2.0;
    reference.calibrated = Some(date(2025, 3, 1));
    let prepared = prepared(&reference, MICROMOL);
    let corrected = prepared.apply(400.0);
    ppfd(corrected, 400.0);
    assert!(corrected.reasons.is_empty());
    near(corrected.shared.get(SharedKind::Calibration), 12.0);
    near(
        corrected.shared.get(SharedKind::DeviceDrift),
        8.0 * 365.0 / 365.25,
    );
    near(corrected.shared.get(SharedKind::Rezero), 8.0);
    assert!(prepared.tied_to_reference());
    assert_eq!(prepared.describe(), "taken as it reads: a reference");
    // One that has corrections, the first of them later, says that none was applied.
    reference.corrections.push(plain(date(2026, 3, 2)));
    let before = prepare(&reference, |_| None, MICROMOL, &on(MARCH, Medium::Water)).apply(400.0);
    assert_eq!(before.reasons.to_string(), "no-correction");
}

#[test]
fn drift_counts_from_the_correction_else_the_certificate_else_not() {
    let mut device = device(MICROMOL, vec![plain(MARCH)]);
    device.drift_percent_per_year = 4.0;
    device.calibrated = Some(date(2020, 1, 1));
    let drift = |device: &Device, day| {
        let prepared = prepare(device, |_| None, MICROMOL, &on(day, Medium::Water));
        prepared.apply(-100.0).shared.get(SharedKind::DeviceDrift)
    };
    assert_eq!(drift(&device, MARCH), 0.0);
    // 1461 days are four years of 365.25.
    near(drift(&device, date(2030, 3, 1)), 16.0);
    device.corrections[0].span.from = None;
    near(drift(&device, date(2024, 1, 1)), 16.0);
    // A day before the certificate is none after it.
    assert_eq!(drift(&device, date(2019, 1, 1)), 0.0);
    device.calibrated = None;
    assert_eq!(drift(&device, date(2024, 1, 1)), 0.0);
}

#[test]
fn calibration_with_a_fit_is_the_references() {
    let mut correction = Correction {
        fit: Some(line([0.0, 1.0], None)),
        ..plain(MARCH)
    };
    let calibration = |correction: &Correction| {
        let mut device = device(MICROMOL, vec![correction.clone()]);
        device.cal_percent = 9.0;
        let known = |id: &str| (id == "hired-reference").then_some(1.5);
        let prepared = prepare(&device, known, MICROMOL, &on(MARCH, Medium::Water));
        prepared.apply(100.0).shared.get(SharedKind::Calibration)
    };
    near(calibration(&correction), 1.5);
    correction.fit.as_mut().unwrap().reference = Some("a-friends".to_owned());
    near(calibration(&correction), 5.0);
    correction.fit.as_mut().unwrap().reference = None;
    near(calibration(&correction), 5.0);
    correction.fit = None;
    near(calibration(&correction), 9.0);
}

#[test]
fn another_light_or_medium_says_other_spectrum() {
    let made_for = |scenes: &[&str], medium| Correction {
        scenes: scenes.iter().map(|&scene| scene.to_owned()).collect(),
        medium,
        spectral: exact(0.9),
        ..plain(MARCH)
    };
    let blue = device(MICROMOL, vec![made_for(&["blue"], None)]);
    let corrected = prepared(&blue, MICROMOL).apply(100.0);
    ppfd(corrected, 90.0);
    assert_eq!(corrected.reasons.to_string(), "other-spectrum");
    let in_air = device(MICROMOL, vec![made_for(&[], Some(Medium::Air))]);
    assert_eq!(
        prepared(&in_air, MICROMOL).apply(100.0).reasons.to_string(),
        "other-spectrum"
    );
}

#[test]
fn the_key_tells_corrections_apart() {
    let device = device(MICROMOL, vec![plain(MARCH), plain(date(2026, 6, 1))]);
    let key = |day| prepare(&device, |_| None, MICROMOL, &on(day, Medium::Water)).key();
    assert_eq!(&*key(MARCH), "bagged-phone/2026-03-01/1");
    assert_eq!(key(MARCH), key(date(2026, 5, 31)));
    assert_eq!(&*key(date(2026, 6, 1)), "bagged-phone/2026-06-01/2");
}

#[test]
fn a_blend_passes_evenly_from_one_correction_to_the_next() {
    let mut first = Correction {
        fit: Some(line([0.0, 1.0], Some([0.0, 500.0]))),
        ..plain(MARCH)
    };
    first.blend = true;
    let mut second = Correction {
        fit: Some(line([0.0, 1.2], Some([0.0, 50.0]))),
        ..plain(date(2026, 3, 11))
    };
    second.fit.as_mut().unwrap().covariance = vec![vec![9.0, 0.0], vec![0.0, 0.0]];
    second.fit.as_mut().unwrap().reference = Some("club-reference".to_owned());
    let device = device(MICROMOL, vec![first, second]);
    let cal = |id: &str| Some(if id == "club-reference" { 4.0 } else { 2.0 });
    let on_day = |day| prepare(&device, cal, MICROMOL, &on(day, Medium::Water));
    let at = |day| on_day(day).apply(100.0);

    ppfd(at(MARCH), 100.0);
    assert!(at(MARCH).reasons.is_empty());
    // Three tenths on the way: 0.7 · 100 + 0.3 · 120; u of the first √(1 + 4), of the second 3 + 0.1 · 50.
    let between = at(date(2026, 3, 4));
    ppfd(between, 106.0);
    near(
        between.shared.get(SharedKind::Fit),
        0.7 * 5.0_f64.sqrt() + 0.3 * 8.0,
    );
    near(
        between.shared.get(SharedKind::Calibration),
        1.06 * (0.7 * 2.0 + 0.3 * 4.0),
    );
    assert_eq!(between.reasons.to_string(), "beyond-correction");
    ppfd(at(date(2026, 3, 11)), 120.0);
    // Every day is another mixture.
    assert_ne!(on_day(date(2026, 3, 4)).key(), on_day(date(2026, 3, 5)).key());
}

#[test]
fn what_is_no_number_never_comes_out_as_one() {
    let huge = Correction {
        spectral: exact(1e200),
        ..plain(MARCH)
    };
    let prepared = prepared(&device(MICROMOL, vec![huge]), MICROMOL);
    for (raw, reasons) in [
        (f64::NAN, "missing-value"),
        (f64::INFINITY, "missing-value"),
        (1e200, "over-range"),
        (-1e200, "under-range"),
    ] {
        let corrected = prepared.apply(raw);
        assert_eq!((corrected.ppfd, corrected.shared.total()), (None, 0.0));
        assert_eq!(corrected.reasons.to_string(), reasons);
    }
}

#[test]
fn a_malformed_fit_is_no_correction() {
    let mut fit = line([1.0, 1.0], None);
    fit.coefficients.clear();
    let device = device(
        MICROMOL,
        vec![Correction {
            fit: Some(fit),
            ..plain(MARCH)
        }],
    );
    let corrected = prepared(&device, MICROMOL).apply(100.0);
    ppfd(corrected, 100.0);
    assert_eq!(corrected.reasons.to_string(), "no-correction");
}

proptest! {
    #[test]
    fn every_number_that_comes_out_is_finite_and_no_u_is_negative(
        raw in prop::num::f64::ANY,
        dark in (prop::num::f64::NORMAL, 0.0..10.0),
        factors in (prop::num::f64::NORMAL, prop::num::f64::NORMAL, prop::num::f64::NORMAL),
        coefficients in (prop::num::f64::ANY, prop::num::f64::ANY),
        percents in (0.0..20.0, 0.0..20.0, 0.0..20.0),
    ) {
        let correction = Correction {
            dark: Factor { value: dark.0, u: dark.1 },
            sensitivity: Some(Factor { value: factors.0, u: 0.1 }),
            spectral: Factor { value: factors.1, u: 0.1 },
            immersion: Factor { value: factors.2, u: 0.1 },
            fit: Some(line([coefficients.0, coefficients.1], Some([20.0, 900.0]))),
            ..plain(MARCH)
        };
        let mut device = device(Some(MILLIVOLT), vec![correction]);
        device.repeat_percent = percents.0;
        device.rezero_percent = percents.1;
        device.drift_percent_per_year = percents.2;
        let corrected = prepared(&device, Some(VOLT)).apply(raw);
        prop_assert!(corrected.ppfd.is_none_or(f64::is_finite));
        prop_assert!(corrected.ppfd.is_some() || !corrected.reasons.is_empty());
        prop_assert!(corrected.u_repeat.is_finite() && corrected.u_repeat >= 0.0);
        prop_assert!(corrected.shared.total().is_finite());
        prop_assert!(SharedKind::ALL.into_iter().all(|kind| corrected.shared.get(kind) >= 0.0));
    }

    /// Each factor's part is what the value moves by when the factor moves by its u (JCGM 100:2008, 5.1.3, note 2).
    #[test]
    fn the_parts_of_the_factors_are_finite_differences(
        raw in 10.0..500.0,
        values in (0.0..5.0, 0.5..8.0, 0.7..1.3, 1.0..1.5),
        coefficients in (-20.0..20.0, 0.5..1.5),
    ) {
        let with = |dark: f64, sensitivity: f64, spectral: f64, immersion: f64| {
            let u = 1e-5;
            let correction = Correction {
                dark: Factor { value: dark, u },
                sensitivity: Some(Factor { value: sensitivity, u }),
                spectral: Factor { value: spectral, u },
                immersion: Factor { value: immersion, u },
                fit: Some(line([coefficients.0, coefficients.1], None)),
                ..plain(MARCH)
            };
            prepared(&device(Some(MILLIVOLT), vec![correction]), Some(MILLIVOLT)).apply(raw)
        };
        let (d, s, p, i) = values;
        let here = with(d, s, p, i);
        let moved = [
            (SharedKind::Dark, with(d + 1e-5, s, p, i)),
            (SharedKind::Sensitivity, with(d, s + 1e-5, p, i)),
            (SharedKind::Spectral, with(d, s, p + 1e-5, i)),
            (SharedKind::Immersion, with(d, s, p, i + 1e-5)),
        ];
        for (kind, there) in moved {
            let moves_by = (there.ppfd.unwrap() - here.ppfd.unwrap()).abs();
            prop_assert!((moves_by - here.shared.get(kind)).abs() < 1e-8, "{kind:?}");
        }
    }
}

#[test]
fn between_two_reference_days_the_drift_grows_away_from_both() {
    let mut device = Device::undeclared("phone");
    device.unit = Some(DeviceUnit::PhotonFlux(1.0));
    device.drift_percent_per_year = 10.0;
    let on = |from| Correction {
        span: undim_model::DateSpan {
            from: Some(from),
            until: None,
        },
        scenes: vec![],
        medium: None,
        blend: true,
        dark: undim_model::Factor { value: 0.0, u: 0.0 },
        sensitivity: None,
        spectral: undim_model::Factor { value: 1.0, u: 0.0 },
        immersion: undim_model::Factor { value: 1.0, u: 0.0 },
        fit: None,
    };
    device.corrections = vec![on(date(2026, 1, 1)), on(date(2026, 3, 2))];
    let drift = |day| {
        let when = When {
            day,
            scene: None,
            medium: Medium::Water,
        };
        let prepared = prepare(&device, |_| None, device.unit, &when);
        prepared.apply(100.0).shared.get(SharedKind::DeviceDrift)
    };
    // Sixty days apart: none on either day, most midway, alike on both sides.
    assert_eq!(drift(date(2026, 1, 1)), 0.0);
    assert_eq!(drift(date(2026, 3, 2)), 0.0);
    let midway = drift(date(2026, 1, 31));
    assert!((midway - 10.0 * 30.0 / 365.25).abs() < 1e-2, "{midway}");
    assert!((drift(date(2026, 1, 11)) - drift(date(2026, 2, 20))).abs() < 1e-12);
    assert!(drift(date(2026, 1, 11)) < midway);
}
