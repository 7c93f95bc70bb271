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
use undim_emit::{Report, page, terminal};

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
    Ok(())
}
