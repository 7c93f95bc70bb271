//! Light factors against the standards' data, formulas and published tables; odd files.

use super::*;
use proptest::prelude::*;

fn light(name: &str) -> Light {
    Light::of(&shipped(name).expect("built in").spectrum).expect("light")
}

/// `tests/data/derived_light_factors.csv`: factors another program summed at the steps of the same spectra; the integral here
/// is exact for straight lines between, so line spectra differ in the fourth digit.
#[test]
fn factors_of_all_cie_spectra_are_those_another_program_computed() {
    let table = include_str!("../../../../tests/data/derived_light_factors.csv");
    let mut count = 0;
    for line in table.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |place: usize| cells[place].parse::<f64>().expect("a number");
        let light = light(cells[0]);
        let near =
            |ours: f64, theirs: f64, by: f64| assert!((ours / theirs - 1.0).abs() < by, "{line}: {ours}");
        near(light.ppfd_per_watt, number(1), 1e-3);
        near(1.0 / light.ppfd_per_lux, number(2), 1e-3);
        count += 1;
    }
    assert_eq!(count, 30);
}

/// ASTM G173-03: the totals of the standard (1000.4 and 900.1 W m⁻²; from memory); the bands were derived from its table.
#[test]
fn astm_g173_gives_its_totals() {
    for (name, all, watts, ppfd, lux) in [
        ("G173", 1000.37, 429.8311, 1977.868, 109_495.2),
        ("G173-direct", 900.14, 374.8150, 1735.200, 97_142.5),
    ] {
        let spectrum = &shipped(name).expect("built in").spectrum;
        let near =
            |ours: f64, theirs: f64| assert!((ours / theirs - 1.0).abs() < 2e-5, "{name}: {ours} {theirs}");
        near(integral(&[spectrum], false, spectrum.span_nm()), all);
        near(integral(&[spectrum], false, PAR_NM), watts);
        let light = light(name);
        near(light.ppfd_per_watt * watts, ppfd);
        near(ppfd / light.ppfd_per_lux, lux);
    }
}

/// CIE 015:2018: illuminant A is S(λ) = 100 (560/λ)⁵ (exp(1.435·10⁷/(2848·560)) − 1)/(exp(1.435·10⁷/(2848 λ)) − 1).
#[test]
fn illuminant_a_follows_its_formula() {
    for [nm, value] in shipped("a").expect("built in").spectrum.points() {
        let planck = |nm: f64| (1.435e7 / (2848.0 * nm)).exp() - 1.0;
        let formula = 100.0 * (560.0 / nm).powi(5) * planck(560.0) / planck(*nm);
        assert!((value / formula - 1.0).abs() < 2e-5, "{nm} nm: {value} {formula}");
    }
}

/// R. W. Thimijan, R. D. Heins, *`HortScience`* 18 (1983) 818–822, as transcribed; 4.57 µmol/J of daylight goes back to
/// `McCree` (1972; from memory). Other lamps than the CIE's, so within 5 %.
#[test]
fn factors_lie_beside_the_published_table() {
    for (name, lux_per_micromol, micromol_per_joule) in [
        ("A", 50.0, 5.0),
        ("D65", 54.0, 4.57),
        ("G173", 54.0, 4.57),
        ("FL2", 74.0, 4.59),
        ("HP1", 82.0, 4.98),
    ] {
        let light = light(name);
        assert!(
            (1.0 / light.ppfd_per_lux / lux_per_micromol - 1.0).abs() < 0.05,
            "{name}"
        );
        assert!(
            (light.ppfd_per_watt / micromol_per_joule - 1.0).abs() < 0.05,
            "{name}"
        );
    }
}

/// CIE e-ILV 17-25-115 with s = V^1.05 calibrated under A; the numbers were derived by another program.
#[test]
fn the_mismatch_factor_is_that_of_the_standard() {
    let points = shipped::photopic().points();
    let visible = points.iter().filter(|[nm, _]| (380.0..=780.0).contains(nm));
    let response = Spectrum::new(visible.map(|[nm, v]| [*nm, v.powf(1.05)]).collect()).expect("a spectrum");
    let under = &shipped("A").expect("built in").spectrum;
    for (name, factor) in [
        ("D65", 0.998_819),
        ("FL2", 0.991_674),
        ("FL11", 0.992_914),
        ("LED-B1", 0.996_297),
        ("LED-B5", 0.994_278),
        ("LED-RGB1", 1.004_063),
    ] {
        let light = &shipped(name).expect("built in").spectrum;
        let ours = mismatch(light, under, &response, Target::Illuminance).expect("a factor");
        assert!((ours - factor).abs() < 2e-4, "{name}: {ours}");
    }
}

/// An energy-flat detector from 400 to 700 nm calibrated under A; its error (derived by another program) is one over the factor.
#[test]
fn the_photon_mismatch_of_a_flat_detector() {
    let flat = Spectrum::new(vec![[400.0, 1.0], [700.0, 1.0]]).expect("a spectrum");
    let under = &shipped("A").expect("built in").spectrum;
    for (name, error) in [
        ("D65", 1.107_11),
        ("FL2", 1.106_07),
        ("LED-B1", 1.024_55),
        ("LED-B3", 1.071_51),
        ("LED-B5", 1.116_12),
        ("LED-RGB1", 1.025_44),
    ] {
        let light = &shipped(name).expect("built in").spectrum;
        let ours = mismatch(light, under, &flat, Target::Photons).expect("a factor");
        assert!((1.0 / ours - error).abs() < 2e-4, "{name}: {}", 1.0 / ours);
    }
    let ideal = Spectrum::new(vec![[400.0, 400.0], [700.0, 700.0]]).expect("a spectrum");
    let d65 = &shipped("D65").expect("built in").spectrum;
    assert!((mismatch(d65, under, &ideal, Target::Photons).expect("a factor") - 1.0).abs() < 1e-12);
}

fn bell(step: usize) -> Vec<(f64, f64)> {
    (380..=780)
        .step_by(step)
        .map(|nm| {
            (
                f64::from(nm),
                (-((f64::from(nm) - 460.0) / 30.0).powi(2)).exp() + 0.2,
            )
        })
        .collect()
}

fn text(points: &[(f64, f64)], by: f64) -> String {
    points
        .iter()
        .map(|(nm, value)| format!("{},{value}\n", nm * by))
        .collect()
}

#[test]
fn any_step_order_and_unit_gives_the_same_factors() {
    let plain = read(&text(&bell(1), 1.0), Meaning::Light).expect("read");
    assert!(plain.remarks.is_empty(), "{:?}", plain.remarks);
    let expected = Light::of(&plain.spectrum).expect("light");
    let mut unsorted = bell(1);
    unsorted.swap(3, 200);
    let micrometre = read(
        &("wavelength_um,power\n".to_owned() + &text(&bell(1), 1e-3)),
        Meaning::Light,
    )
    .expect("read");
    assert!(micrometre.remarks[0].contains("µm"));
    let sorted = read(&text(&unsorted, 1.0), Meaning::Light).expect("read");
    assert!(sorted.remarks[0].contains("sorted"));
    assert_eq!(sorted.spectrum, plain.spectrum);
    let photons: String = bell(1)
        .iter()
        .map(|(nm, value)| format!("{nm};{}\n", value * nm).replace('.', ","))
        .collect();
    let photons = read(&("nm;umol\n".to_owned() + &photons), Meaning::Light).expect("read");
    for spectrum in [
        &micrometre.spectrum,
        &photons.spectrum,
        &read(&text(&bell(5), 1.0), Meaning::Light).expect("read").spectrum,
    ] {
        let light = Light::of(spectrum).expect("light");
        assert!((light.ppfd_per_lux / expected.ppfd_per_lux - 1.0).abs() < 2e-3);
        assert!((light.ppfd_per_watt / expected.ppfd_per_watt - 1.0).abs() < 1e-3);
    }
}

#[test]
fn odd_files_get_a_sentence() {
    let refused = |text: &str| read(text, Meaning::Light).expect_err(text).0;
    let hole: Vec<(f64, f64)> = bell(5)
        .into_iter()
        .filter(|(nm, _)| !(500.0..540.0).contains(nm))
        .collect();
    assert!(refused(&text(&hole, 1.0)).contains("hole from 495 to 540 nm"));
    let short: Vec<(f64, f64)> = bell(5).into_iter().filter(|(nm, _)| *nm <= 650.0).collect();
    assert!(refused(&text(&short, 1.0)).contains("ends at 650 nm"));
    assert!(refused(&text(&bell(5), 10.0)).contains("ångström"));
    assert!(refused("").contains("no line with two numbers"));
    assert!(refused("450,1\n").contains("one line"));
    assert!(refused("0.4,1\n0.5,1\n600,1\n700,1\n").contains("in nm"));
    assert!(refused("400,0\n500,0\n550,0\n700,0\n").contains("hole"));
    let zero: Vec<(f64, f64)> = bell(5).into_iter().map(|(nm, _)| (nm, 0.0)).collect();
    assert!(refused(&text(&zero, 1.0)).contains("every value is zero"));
    let mut twice = bell(5);
    twice[4] = (twice[3].0, 9.0);
    assert!(refused(&text(&twice, 1.0)).contains("twice"));
    let mut below = bell(5);
    below[4].1 = -0.5;
    assert!(refused(&text(&below, 1.0)).contains("below zero"));
    assert!(refused("400,1\nhello\n700,1\n").contains("line 2"));
}

#[test]
fn a_mix_of_alike_channels_is_the_channel() {
    let [one, other] = ["LED-B1", "LED-B5"].map(|name| &shipped(name).expect("built in").spectrum);
    let mixed = mix(&[(one, false, 0.3), (one, false, 0.2)]).expect("a mix");
    assert!(
        (Light::of(&mixed).expect("light").ppfd_per_lux / light("LED-B1").ppfd_per_lux - 1.0).abs() < 1e-12
    );
    // Levels are shares of PPFD, so watts for the same PPFD add.
    let half = Light::of(&mix(&[(one, false, 0.5), (other, false, 0.5)]).expect("a mix")).expect("light");
    let watts = |light: &Light| 1.0 / light.ppfd_per_watt;
    assert!((watts(&half) - 0.5 * (watts(&light("LED-B1")) + watts(&light("LED-B5")))).abs() < 1e-9);
    assert_eq!(mix(&[(one, false, 0.0)]), Err(MixError::AllOff));
    assert_eq!(mix(&[(one, false, -0.1)]), Err(MixError::Level));
    assert_eq!(
        mix(&[(one, false, 0.1), (other, true, 0.1)]),
        Err(MixError::Unlike)
    );
}

#[test]
fn every_built_in_spectrum_is_there_with_its_light() {
    assert_eq!(shipped_names().count(), 32);
    for name in shipped_names() {
        let light = light(name);
        let par: f64 = light
            .bands
            .iter()
            .filter(|band| band.nm[0] >= 400.0 && band.nm[1] <= 700.0)
            .map(|band| band.percent)
            .sum();
        assert!((par - 100.0).abs() < 1e-9, "{name}");
        let [lux, watt] = sensitivity_spread_percent(&shipped(name).expect("built in").spectrum, false);
        assert!(
            (5.0..20.0).contains(&lux) && (1.0..6.0).contains(&watt),
            "{lux} {watt}"
        );
    }
}

proptest! {
    #[test]
    fn any_text_gives_a_sound_spectrum_or_a_sentence(text in "([0-9.,;\t eE+-]{0,20}\n){0,12}") {
        match read(&text, Meaning::Light) {
            Ok(read) => {
                let light = Light::of(&read.spectrum);
                prop_assert!(light.is_none_or(|light| light.ppfd_per_lux.is_finite() && light.ppfd_per_watt.is_finite()));
            }
            Err(ReadError(why)) => prop_assert!(!why.is_empty()),
        }
    }

    #[test]
    fn micromol_per_joule_lies_between_the_ends_of_the_band(values in proptest::collection::vec(0.0f64..10.0, 61)) {
        let points = values.iter().enumerate().map(|(place, value)| [400.0 + 5.0 * place as f64, value + 0.001]);
        let light = Light::of(&Spectrum::new(points.collect()).expect("a spectrum")).expect("light");
        prop_assert!((3.3437..5.8516).contains(&light.ppfd_per_watt));
    }
}
