//! The table, and the few words beside it.

use std::time::Duration;

/// Rows of text, each perhaps with a goal.
#[derive(Default)]
pub(crate) struct Table {
    rows: Vec<Row>,
    missed: bool,
}

enum Row {
    Heading(String),
    Cells([String; 3]),
}

impl Table {
    /// Begins a part.
    pub(crate) fn heading(&mut self, text: impl Into<String>) {
        self.rows.push(Row::Heading(text.into()));
    }

    /// A measured value.
    pub(crate) fn row(&mut self, what: impl Into<String>, measured: impl Into<String>) {
        self.rows
            .push(Row::Cells([what.into(), measured.into(), String::new()]));
    }

    /// A measured value that has to stay below a goal; both in `unit`.
    pub(crate) fn goal(&mut self, what: impl Into<String>, measured: f64, goal: f64, unit: &str) {
        let met = measured < goal;
        self.missed |= !met;
        let verdict = format!("goal < {goal} {unit}: {}", if met { "met" } else { "MISSED" });
        self.rows.push(Row::Cells([
            what.into(),
            format!("{} {unit}", figures(measured)),
            verdict,
        ]));
    }

    /// False where a goal was missed.
    pub(crate) fn all_met(&self) -> bool {
        !self.missed
    }

    #[expect(clippy::print_stdout, reason = "the table is what the program is for")]
    pub(crate) fn print(&self) {
        let cells = || {
            self.rows.iter().filter_map(|row| match row {
                Row::Cells(cells) => Some(cells),
                Row::Heading(_) => None,
            })
        };
        let width = |column: usize| {
            cells()
                .map(|cells| cells[column].chars().count())
                .max()
                .unwrap_or(0)
        };
        let (first, second) = (width(0), width(1));
        for row in &self.rows {
            match row {
                Row::Heading(text) => println!("\n{text}"),
                Row::Cells([what, measured, goal]) => {
                    println!(
                        "{}",
                        format!("  {what:<first$}  {measured:>second$}  {goal}").trim_end()
                    );
                }
            }
        }
    }
}

/// Milliseconds.
pub(crate) fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

/// Median, least and most of some times, in milliseconds.
pub(crate) struct Spread {
    pub(crate) median: f64,
    pub(crate) least: f64,
    pub(crate) most: f64,
}

impl Spread {
    pub(crate) fn of(times: &[Duration]) -> Self {
        let mut times: Vec<f64> = times.iter().map(|time| ms(*time)).collect();
        times.sort_by(f64::total_cmp);
        let at = |number: usize| times.get(number).copied().unwrap_or(f64::NAN);
        Self {
            median: f64::midpoint(at(times.len().saturating_sub(1) / 2), at(times.len() / 2)),
            least: at(0),
            most: at(times.len().saturating_sub(1)),
        }
    }

    pub(crate) fn ends(&self) -> String {
        format!("{} … {} ms", figures(self.least), figures(self.most))
    }
}

/// Three figures or so.
pub(crate) fn figures(number: f64) -> String {
    match number.abs() {
        size if size >= 100.0 => format!("{number:.0}"),
        size if size >= 10.0 => format!("{number:.1}"),
        _ => format!("{number:.2}"),
    }
}

#[expect(clippy::print_stderr, reason = "a measurement takes a while")]
pub(crate) fn say_progress(text: &str) {
    eprintln!("measuring: {text}");
}

#[expect(clippy::print_stderr, reason = "a chore talks to whoever runs it")]
pub(crate) fn say_error(text: &str) {
    eprintln!("{text}");
}
