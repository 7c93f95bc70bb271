//! Drawings of invented places, held against what somebody above the tank would see.

use super::*;
use undim_model::{Flag, Measured, Reasons, Text};

fn station(name: &str, ppfd: Option<f64>, at: Option<[f64; 3]>) -> StationValue {
    StationValue {
        station: Text::from(name),
        declared: false,
        position: at.map(|[left, bottom, front]| Position::new(left, bottom, front)),
        readings: 1,
        used: 1,
        value: ppfd.map(|ppfd| Measured {
            ppfd,
            u_own: 1.0,
            u_shared: 1.0,
        }),
        device: Text::from("device"),
        correction: Text::from(""),
        shared: Vec::new(),
        u_place_ppfd: None,
        u_tilt_ppfd: None,
        gradient_per_cm: None,
        scatter_percent: None,
        flag: Flag::Good,
        reasons: Reasons::NONE,
    }
}

fn screen(glyphs: Glyphs) -> Screen {
    Screen { glyphs, width: 80 }
}

#[test]
fn left_is_left_and_the_rear_is_at_the_top() {
    let stations = [
        station("a", Some(180.4), Some([10.0, 20.0, 5.0])),
        station("b", Some(99.6), Some([110.0, 20.0, 5.0])),
        station("c", Some(250.0), Some([10.0, 20.0, 55.0])),
        station("d", None, Some([60.0, 20.0, 30.0])),
        station("below a", Some(60.0), Some([10.0, 5.0, 5.0])),
        station("nowhere", Some(60.0), None),
    ];
    let drawn = plan(&stations, &screen(Glyphs::Ascii)).unwrap();
    let lines: Vec<&str> = drawn.lines().collect();
    assert!(
        lines
            .iter()
            .skip(1)
            .take(lines.len() - 2)
            .all(|line| line.len() <= WIDEST),
        "{drawn}"
    );
    assert!(lines[2].starts_with("|  250"), "{drawn}");
    let front = lines[lines.len() - 3];
    assert!(
        front.starts_with("|  180") && front.trim_end_matches('|').trim_end().ends_with("100"),
        "{drawn}"
    );
    assert!(
        lines.iter().any(|line| line.trim_matches('|').trim() == "-"),
        "{drawn}"
    );
    assert!(drawn.ends_with("From left 10 to 110 cm, from front 5 to 55 cm; PPFD in whole µmol m⁻² s⁻¹; 1 more below or beside these."), "{drawn}");
}

#[test]
fn places_in_a_row_make_one_line_and_one_place_makes_no_drawing() {
    let row = [
        station("a", Some(1.0), Some([0.0, 20.0, 5.0])),
        station("b", Some(2.0), Some([30.0, 20.0, 5.0])),
    ];
    assert_eq!(plan(&row, &screen(Glyphs::Unicode)).unwrap().lines().count(), 5);
    let column = [
        station("a", Some(1.0), Some([3.0, 20.0, 5.0])),
        station("b", Some(2.0), Some([3.0, 10.0, 5.0])),
    ];
    assert_eq!(plan(&column, &screen(Glyphs::Unicode)), None);
    assert_eq!(plan(&[], &screen(Glyphs::Unicode)), None);
}

#[test]
fn wild_numbers_are_drawn_or_left_out_but_never_fatal() {
    for far in [1e-300, 1e15, 1e300, f64::MAX] {
        let stations = [
            station("a", Some(1e300), Some([-far, -far, -far])),
            station("b", Some(2.0), Some([far, far, far])),
            station("c", Some(-0.2), Some([0.0, 1.0, 2.0])),
        ];
        for width in [1, 40, 200] {
            let screen = Screen {
                glyphs: Glyphs::Ascii,
                width,
            };
            if let Some(drawn) = plan(&stations, &screen) {
                assert!(drawn.lines().count() <= HIGHEST + 5, "{drawn}");
            }
        }
    }
}
