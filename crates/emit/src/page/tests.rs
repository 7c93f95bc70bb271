//! What the page shows, in which order, and what it must never hold.

use super::*;
use crate::samples::{self, Scenario};
use crate::sign::Sign;

fn page(scenario: &Scenario) -> String {
    survey(&Report {
        site_name: "North room",
        tank: &scenario.tank,
        survey: &scenario.survey,
        judgement: &scenario.judgement,
        earlier: scenario.earlier.as_deref(),
        side_by_side: &[],
        in_site: true,
        software_version: "0.1.0",
    })
}

#[test]
fn the_order_is_answer_then_evidence() {
    let text = page(&samples::loss());
    let at = |part: &str| text.find(part).unwrap_or_else(|| panic!("{part} is missing"));
    let order = [
        at("The pumps were off"),
        at("<h1>Less light under the west fixture"),
        at("Do next"),
        at("9 of 11 places good"),
        at("From above"),
        at("From the front"),
        at("west fixture</span>"),
        at("Why we think so"),
        at("All places (11)"),
        at("<summary>Corals"),
        at("Corrected for"),
        at("What was assumed (2)"),
        at("<summary>Files"),
    ];
    assert!(order.is_sorted(), "{order:?}");
    for sign in [Sign::Less, Sign::Same, Sign::Again] {
        assert!(text.contains(&format!("sign {}", sign.class())));
    }
}

#[test]
fn every_page_is_whole_without_scripts_styles_or_addresses_of_others() {
    for scenario in samples::all() {
        let text = page(&scenario);
        assert_eq!(text, page(&scenario), "{}", scenario.name);
        let lower = text.to_lowercase();
        for banned in [
            "<script",
            " style=",
            "javascript:",
            "src=x onerror=alert(1)>",
            "<img",
            "<svg/onload",
            "<b>harbour",
        ] {
            let inert = lower
                .replace("&lt;script", "")
                .replace("&lt;img", "")
                .replace("&lt;svg", "");
            assert!(!inert.contains(banned), "{banned} in {}", scenario.name);
        }
        assert!(
            !text.contains("href=\"http") && !text.contains("url("),
            "{}",
            scenario.name
        );
        assert!(
            !text.contains("NaN") && !text.contains("inf "),
            "{}",
            scenario.name
        );
        assert!(!text.contains('\u{202e}'));
        assert_eq!(text.matches("<details").count(), 6);
        assert!(!lower.split("<body>").nth(1).expect("a body").contains("lamp"));
    }
}

#[test]
fn the_policy_admits_exactly_the_style_of_the_page() {
    let text = page(&samples::quiet());
    let style = text
        .split("<style>")
        .nth(1)
        .and_then(|rest| rest.split("</style>").next())
        .expect("a style");
    let hash = sha256::base64(&sha256::sha256(style.as_bytes()));
    assert!(text.contains(&format!("default-src 'none'; style-src 'sha256-{hash}'")));
    assert!(!style.contains('&'), "nothing in the style was escaped");
}

#[test]
fn a_page_without_positions_opens_the_table() {
    let text = page(&samples::no_positions());
    assert!(text.contains("<details open><summary>All places (1)"));
    assert!(!text.contains("From above"));
    assert!(text.contains(words::NOT_TIED));
    assert!(text.contains(words::PUMPS_UNKNOWN));
}

#[test]
fn odd_numbers_break_no_drawing() {
    let mut scenario = samples::loss();
    scenario.survey.stations[0].position = Some(undim_model::Position::new(f64::NAN, 1.0, f64::INFINITY));
    scenario.survey.stations[1].position = Some(undim_model::Position::new(1e300, -1e300, 0.0));
    scenario.judgement.fixture_trends[0].1[2].change.ci95 = [f64::NEG_INFINITY, f64::NAN];
    let text = page(&scenario);
    assert!(!text.contains("NaN") && !text.contains("=\"inf"));
    scenario.tank.inside.clear();
    assert!(!page(&scenario).contains("NaN"));
}

/// Contrast of two colours (WCAG 2.2, *contrast ratio* and *relative luminance*).
fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
    let luminance = |colour: [f64; 3]| {
        let [r, g, b] = colour.map(|c| {
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

fn colours(block: &str) -> std::collections::BTreeMap<&str, [f64; 3]> {
    block
        .split(';')
        .filter_map(|declaration| {
            let (name, value) = declaration.split_once(": #")?;
            let name = name.split("--").last()?;
            let channel = |at: usize| {
                f64::from(u8::from_str_radix(&value[at..at + 2], 16).expect("hexadecimal")) / 255.0
            };
            Some((name, [channel(0), channel(2), channel(4)]))
        })
        .collect()
}

#[test]
fn every_text_and_sign_stands_out_from_what_lies_under_it() {
    // WCAG 2.2, success criterion 1.4.3, asks for 4.5; 4.6 is our own floor.
    assert!((contrast([1.0; 3], [0.0; 3]) - 21.0).abs() < 1e-9);
    let blocks: Vec<_> = STYLE
        .split(":root {")
        .skip(1)
        .map(|rest| colours(rest.split('}').next().expect("a block")))
        .collect();
    assert_eq!(blocks.len(), 3, "light, dark and paper");
    for block in blocks {
        for ground in ["page", "panel", "water"] {
            for ink in ["ink", "quiet", "loss", "gain", "same"] {
                let ratio = contrast(block[ink], block[ground]);
                assert!(ratio >= 4.6, "{ink} on {ground}: {ratio:.2}");
            }
        }
    }
}
