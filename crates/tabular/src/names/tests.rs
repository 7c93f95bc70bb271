//! Tests of column names.

use super::*;

fn role(header: &str) -> Option<(Role, Strength)> {
    read(header).map(|named| (named.role, named.strength))
}

#[test]
fn usual_names() {
    use Strength::{Contains, Exact, Weak};
    for (header, want) in [
        ("PAR (\u{b5}mol/m\u{b2}/s)", Some((Role::Value, Exact))),
        ("PPFD [\u{b5}mol m-2 s-1]", Some((Role::Value, Exact))),
        ("Beleuchtungsst\u{e4}rke in lx", Some((Role::Value, Exact))),
        ("\u{c9}clairement", Some((Role::Value, Exact))),
        ("Wert", Some((Role::Value, Weak))),
        ("PAR 20cm", Some((Role::Value, Contains))),
        ("PAR1", Some((Role::Value, Contains))),
        ("PAR (left probe)", Some((Role::Value, Contains))),
        ("PAR sd", Some((Role::Aside, Contains))),
        ("X (mm)", Some((Role::X, Exact))),
        ("x_cm", Some((Role::X, Exact))),
        ("from_left_cm", Some((Role::X, Exact))),
        ("pos y", Some((Role::Y, Exact))),
        ("Z-Achse", Some((Role::Z, Exact))),
        ("left", None),
        ("Left (cm)", Some((Role::X, Exact))),
        ("Tiefe [cm]", Some((Role::Vertical, Exact))),
        ("Temp \u{b0}C", Some((Role::Temperature, Exact))),
        ("Uhrzeit", Some((Role::Time, Exact))),
        ("Date Time, GMT+01:00", Some((Role::Time, Contains))),
        ("\u{65e5}\u{6642}", Some((Role::Time, Exact))),
        ("M\u{ed}sto", Some((Role::Station, Exact))),
        ("St\u{e5}l", None),
        ("", None),
    ] {
        assert_eq!(role(header), want, "{header}");
    }
}

#[test]
fn units_and_zones_in_headers() {
    assert_eq!(
        read("PAR (\u{b5}mol/m\u{b2}/s)").unwrap().unit.as_deref(),
        Some("\u{b5}mol/m\u{b2}/s")
    );
    assert_eq!(read("x_cm").unwrap().unit.as_deref(), Some("cm"));
    assert_eq!(read("Lux").unwrap().unit.as_deref(), Some("Lux"));
    assert_eq!(
        read("PPFD \u{b5}mol m-2 s-1").unwrap().unit.as_deref(),
        Some("\u{b5}mol m-2 s-1")
    );
    assert!(read("PPFD").unwrap().is_ppfd && !read("PAR").unwrap().is_ppfd);
    assert_eq!(read("Time (UTC)").unwrap().offset_s, Some(0));
    assert_eq!(read("Date Time, GMT+01:00").unwrap().offset_s, Some(3600));
    assert_eq!(read("Time").unwrap().offset_s, None);
}

#[test]
fn every_name_is_written_folded_and_stands_once() {
    let mut seen = Vec::new();
    for (_, _, _, names) in NAMES {
        for name in names.split('|') {
            assert_eq!(words(name).join(" "), name, "is folded");
            assert!(!seen.contains(&name), "{name} stands twice");
            seen.push(name);
        }
    }
}
