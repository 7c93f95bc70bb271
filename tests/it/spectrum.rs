//! `undim spectrum` as a keeper types it.

use crate::support::TestSite;
use serde_json::Value;

#[test]
fn a_spectrum_is_told_and_odd_ones_are_refused() {
    let site = TestSite::with_site_file("[site]\ntimezone = \"UTC\"\n");
    let told = |arguments: &[&str]| -> Value {
        let run = site.undim(&[&["spectrum", "--json"], arguments].concat());
        assert_eq!(run.status, Some(0), "{run}");
        serde_json::from_str(&run.stdout).unwrap_or_else(|why| panic!("{why}: {run}"))
    };
    let d65 = told(&["d65"]);
    assert!(
        (d65["lx_per_ppfd"].as_f64().expect("a number") - 55.5).abs() < 0.05,
        "{d65}"
    );
    assert_eq!(d65["mismatch"], Value::Null);

    let mut rows = String::from("nm,response\n");
    for nm in (400..=700).step_by(10) {
        rows += &format!("{nm},1\n");
    }
    site.write("flat.csv", rows);
    let flat = site.path("flat.csv").display().to_string();
    let page = site.path("blue.html").display().to_string();
    let misled = told(&[
        "--mix",
        "LED-B5=1",
        "--mix",
        "LED-B1=0%",
        "--response",
        &flat,
        "--out",
        &page,
    ]);
    let spectral = misled["mismatch"]["spectral"].as_f64().expect("a number");
    assert!((1.0 / spectral - 1.116).abs() < 1e-3, "{misled}");
    assert_eq!(misled["mix"][0]["level"], 1.0);
    assert!(site.read("blue.html").contains("µmol"));

    site.write("hole.csv", "400,1\n410,1\n420,1\n600,1\n610,1\n700,1\n");
    let hole = site.path("hole.csv").display().to_string();
    for (arguments, word) in [
        (vec!["spectrum", hole.as_str()], "hole from 420 to 600"),
        (vec!["spectrum", "LED-B9"], "--list"),
        (vec!["spectrum", "--mix", "LED-B1=40"], "0 to 1"),
        (vec!["spectrum", "--mix", "LED-B1=0"], "no light"),
    ] {
        let run = site.undim(&arguments);
        assert_eq!(run.status, Some(2), "{run}");
        assert!(run.stderr.contains(word), "{run}");
    }
}
