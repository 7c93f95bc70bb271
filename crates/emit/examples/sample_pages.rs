//! Writes the page of every invented survey into a folder, to be looked at.
//!
//! `cargo run -p undim-emit --example sample_pages -- DIR`
#![allow(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "an example is a small shell around the pure crate"
)]

mod samples;

use std::error::Error;
use std::path::PathBuf;
use undim_emit::page::{TankLine, TankPage};
use undim_emit::{Report, SiteZone, page, terminal};

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(std::env::args_os().nth(1).ok_or("usage: sample_pages DIR")?);
    std::fs::create_dir_all(&folder)?;
    for scenario in samples::all() {
        let report = Report {
            site_name: "North room",
            tank: &scenario.tank,
            survey: &scenario.survey,
            judgement: &scenario.judgement,
            earlier: scenario.earlier.as_deref(),
            side_by_side: &[],
            in_site: true,
            software_version: env!("CARGO_PKG_VERSION"),
        };
        std::fs::write(
            folder.join(format!("{}.html", scenario.name)),
            page::survey(&report),
        )?;
        let screen = terminal::Screen {
            glyphs: terminal::Glyphs::Unicode,
            width: 80,
        };
        let said = [
            terminal::title(&report, &screen) + "\n",
            terminal::table(&report, &screen),
            terminal::answer(&report, &screen),
        ];
        std::fs::write(folder.join(format!("{}.txt", scenario.name)), said.concat())?;
        println!("{}", scenario.name);
    }
    of_tanks(&folder)?;
    Ok(())
}

/// The page of a tank with a past of two years, and of a site with forty tanks.
fn of_tanks(folder: &std::path::Path) -> Result<(), Box<dyn Error>> {
    let zone = SiteZone::named("Europe/Lisbon")?;
    let mut lines = Vec::new();
    for past in samples::forty().iter().chain([&samples::two_years()]) {
        let pairs = past.pairs();
        let page = TankPage {
            site_name: "North room",
            tank: &past.tank,
            surveys: &pairs,
            alerts: &past.alerts,
            upkeep: &past.upkeep,
            zone: &zone,
            has_eu: false,
            software_version: env!("CARGO_PKG_VERSION"),
        };
        let text = page::tank(&page);
        let below = folder.join(&past.tank.id);
        std::fs::create_dir_all(&below)?;
        std::fs::write(below.join("index.html"), text)?;
        lines.extend(TankLine::of(&page));
    }
    let text = page::site("North room", &lines[..40], &[], true, env!("CARGO_PKG_VERSION"));
    std::fs::write(folder.join("index.html"), text)?;
    println!("index");
    Ok(())
}
