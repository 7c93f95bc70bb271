//! `undim status` as a whole process, with two hundred surveys in the ledger.

use crate::input::DAYS;
use crate::site::Site;
use crate::table::{Spread, Table};
use crate::{Bench, Result};
use std::process::Stdio;
use std::time::Instant;

const TIMES: usize = 50;

pub(crate) fn measure(bench: &Bench, table: &mut Table) -> Result<()> {
    let site = Site::with_surveys(bench)?;
    let mut times = Vec::with_capacity(TIMES);
    for _ in 0..TIMES {
        let mut command = site.undim(&["status"]);
        command.stdout(Stdio::null());
        let began = Instant::now();
        let status = command.status().map_err(|error| error.to_string())?;
        times.push(began.elapsed());
        if !status.success() {
            return Err(format!("undim status ended with {status}"));
        }
    }
    let spread = Spread::of(&times);
    table.heading(format!(
        "`undim status`, the whole process: {TIMES} times, {DAYS} surveys in the ledger"
    ));
    table.goal("median", spread.median, 20.0, "ms");
    table.row("least … most", spread.ends());
    Ok(())
}
