//! Every case of this importer.

#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

#[path = "../../every_case.rs"]
mod every_case;

#[test]
fn every_case() {
    every_case::run_all::<undim_importer_delimited::Delimited>(25);
}
