//! Where the answers come from.

use crate::cli::New;
use crate::command::say;
use crate::exit::Exit;
use crate::new::{self, Answers, Found};
use std::io::{self, BufRead, Write};
use undim_intake::names::harmless;
use undim_model::{Frame, Inside};
use undim_place::order;

/// Mistyped this often, a question is left open.
const TRIES: usize = 5;

/// More bytes than this are no answer.
const MOST_TYPED: u64 = 4096;

/// Where the answers come from: a flag, else the keeper, else nothing.
pub(super) struct Interview<'a> {
    pub(super) flags: &'a New,
    pub(super) asks: bool,
    pub(super) shows_typing: bool,
    pub(super) found: Option<&'a Found>,
    /// What was taken or left open, a sentence each.
    pub(super) said: Vec<String>,
    /// Axis orders under which the first file's readings lie inside the tank.
    pub(super) fitting: Vec<Frame>,
    /// True where it was told, or can only be so, how x, y and z lie.
    pub(super) is_settled: bool,
}

impl Interview<'_> {
    pub(super) fn answers(&mut self) -> Result<Answers, Exit> {
        let flags = self.flags;
        if self.asks {
            let screen = say::screen();
            say::line(&screen.wrapped(
                "Seven questions; Enter skips any, and everything can be told or changed later.",
                "",
                "",
            ));
        }
        let mut answers = Answers {
            tank: self.question(
                "1. What is the tank called?",
                flags.tank.as_deref(),
                "--tank",
                new::tank,
            )?,
            ..Answers::default()
        };
        answers.inside = self.question(
            "2. Its inside size: length, front to back, height (as 120 x 60 x 55 cm)?",
            flags.size.as_deref(),
            "--size",
            new::inside,
        )?;
        let known = answers.inside.clone();
        if known.is_some() || flags.water.is_some() {
            let water = self.question(
                "3. The water's height over the bottom pane (as 50 cm)?",
                flags.water.as_deref(),
                "--water",
                |text| new::water(text, known.as_ref()),
            )?;
            if let Some(inside) = &mut answers.inside {
                inside.water_cm = water;
            }
        }
        let known = answers.inside.clone();
        answers.fixtures = self
            .question(
                "4. Its fixtures from left to right (as west, east; with places as west 30 75 30; east 90 75 30)?",
                flags.fixtures.as_deref(),
                "--fixtures",
                |text| new::fixtures(text, known.as_ref()),
            )?
            .unwrap_or_default();
        let count = answers.fixtures.len();
        if count > 0 || flags.output.is_some() {
            answers.levels = self
                .question(
                    "5. Their output when you measure, in percent (as 60, or one for each)?",
                    flags.output.as_deref(),
                    "--output",
                    |text| new::output(text, count),
                )?
                .unwrap_or_default();
        }
        answers.device = self.device()?;
        answers.frame = self.frame(known.as_ref())?;
        if let Some(found) = self.found {
            if self.is_settled {
                let own = new::frame(None, None, None).map_err(|why| super::refused(&why))?;
                answers.stations = found.stations(answers.frame.as_ref().unwrap_or(&own), known.as_ref());
            }
            if !answers.stations.is_empty() {
                self.said.push(format!(
                    "{} named places of the file became stations.",
                    answers.stations.len()
                ));
            }
        }
        // What was only assumed is written out, so that one line mends it.
        answers.frame = answers
            .frame
            .filter(|frame| !self.is_settled || !new::is_own(frame));
        Ok(answers)
    }

    fn device(&mut self) -> Result<Option<new::DeviceAnswer>, Exit> {
        let found = self.found.and_then(|found| {
            let name = found.device.clone()?;
            Some(found.unit.as_ref().map_or_else(
                || name.replace(',', " "),
                |unit| format!("{}, {unit}", name.replace(',', " ")),
            ))
        });
        let text = "6. What do you read with (as Phone in a bag; Logger, lx; Hired sensor, reference)?";
        let text = found.as_ref().map_or_else(
            || text.to_owned(),
            |found| format!("{text} The file says {found}; Enter takes that."),
        );
        let told = self.question(&text, self.flags.device.as_deref(), "--device", |text| {
            new::device(text)
        })?;
        match (told, found) {
            (None, Some(found)) => {
                let device = new::device(&found).ok();
                if device.is_some() {
                    self.said.push(format!("Read with {found}, as the file says."));
                }
                Ok(device)
            }
            (told, _) => Ok(told),
        }
    }

    /// The last question: where 0, 0, 0 is and where x, y and z point.
    fn frame(&mut self, inside: Option<&Inside>) -> Result<Option<Frame>, Exit> {
        let (zero, axes) = (self.flags.zero.as_deref(), self.flags.axes.as_deref());
        let told = (zero.is_some() || axes.is_some())
            .then(|| new::frame(zero, axes, inside).map_err(|why| super::refused(&why)))
            .transpose()?;
        if let (Some(found), Some(inside)) = (self.found, inside) {
            if found.extent.is_empty() {
                self.said
                    .push("The file gives no x, y, z, so no order of axes could be tried.".to_owned());
            } else {
                self.fitting = new::fitting(found, zero, inside).map_err(|why| super::refused(&why))?;
                self.holds_the_file(found, told.as_ref().filter(|_| axes.is_some()), inside)?;
            }
        } else if self.found.is_some_and(|found| !found.extent.is_empty()) {
            self.said
                .push("Without the tank's size no order of axes could be tried; give --size too.".to_owned());
        }
        self.is_settled = axes.is_some() || self.fitting.len() == 1;
        if axes.is_some() {
            return Ok(told);
        }
        let lines: Vec<String> = self
            .fitting
            .iter()
            .map(|frame| new::in_words(frame, inside))
            .collect();
        if let [only] = self.fitting.as_slice() {
            self.said.push(format!(
                "The readings lie inside the tank in one way only: {}. That was taken.",
                new::in_words(only, inside)
            ));
            return Ok(Some(only.clone()));
        }
        if told.is_some() && self.fitting.is_empty() {
            return Ok(told);
        }
        let mut text =
            "7. Where is your 0, 0, 0, and where do x, y, z point (as left bottom front; right up back)?"
                .to_owned();
        for (number, line) in (1..).zip(&lines) {
            text.push_str(&format!("\n     {number}) {line}"));
        }
        if !lines.is_empty() {
            text.push_str("\n   In these ways the file's readings lie inside the tank: a number will do.");
        }
        let choices = self.fitting.clone();
        let answer = self.question(&text, None, "--axes", |text| {
            new::chosen(
                text,
                &choices,
                self.found.filter(|found| !found.extent.is_empty()),
                inside,
            )
        })?;
        if answer.is_some() {
            self.is_settled = true;
            return Ok(answer);
        }
        if let Some(first) = self.fitting.first() {
            self.said.push(format!(
                "The file's readings lie inside the tank in {} ways: {}. The first was taken; where another is right, mend [[frame]] in the tank's file, and the surveys you have are derived again.",
                lines.len(),
                lines.join(" · ")
            ));
            return Ok(Some(first.clone()));
        }
        Ok(told)
    }

    /// An order that was told has to hold the first file's readings, and some order has to.
    fn holds_the_file(&self, found: &Found, told: Option<&Frame>, inside: &Inside) -> Result<(), Exit> {
        let ways: Vec<String> = self
            .fitting
            .iter()
            .map(|frame| new::in_words(frame, Some(inside)))
            .collect();
        match told {
            Some(frame) if !order::fits(&found.extent, frame, inside) => {
                let hint = if ways.is_empty() {
                    "check the size and the unit".to_owned()
                } else {
                    format!("they would inside with {}", ways.join(" or "))
                };
                Err(super::refused(&format!(
                    "with {} the file's readings don't all lie in the tank: {}; {hint}",
                    new::in_words(frame, Some(inside)),
                    new::beyond(found, frame, inside)
                )))
            }
            None if ways.is_empty() => Err(super::refused(&format!(
                "no order of x, y and z puts the file's readings inside {} x {} x {} cm: {}; check --size, --zero, and the unit of x, y, z",
                inside.length_cm,
                inside.front_to_back_cm,
                inside.height_cm,
                new::spans(found)
            ))),
            _ => Ok(()),
        }
    }

    /// The flag's answer, else the keeper's; `None` where it is skipped.
    fn question<T>(
        &self,
        text: &str,
        flag: Option<&str>,
        flag_name: &str,
        understand: impl Fn(&str) -> Result<T, String>,
    ) -> Result<Option<T>, Exit> {
        if let Some(flag) = flag {
            return understand(flag)
                .map(Some)
                .map_err(|why| super::refused(&format!("{flag_name}: {why}")));
        }
        if !self.asks {
            return Ok(None);
        }
        let screen = say::screen();
        for line in text.lines() {
            say::line(&screen.wrapped(
                &harmless(line),
                if line.starts_with(' ') { "     " } else { "" },
                "   ",
            ));
        }
        for _ in 0..TRIES {
            let Some(typed) = self.line()? else {
                return Ok(None);
            };
            if typed.trim().is_empty() {
                return Ok(None);
            }
            match understand(typed.trim()) {
                Ok(answer) => return Ok(Some(answer)),
                // Whoever types may try again; a pipe can't.
                Err(why) if self.shows_typing => say::line(&screen.wrapped(
                    &format!("{}; or Enter to skip.", harmless(&why)),
                    "   ",
                    "   ",
                )),
                Err(why) => return Err(super::refused(&why)),
            }
        }
        say::line("   Left open.");
        Ok(None)
    }

    /// One line of standard input; `None` at its end.
    fn line(&self) -> Result<Option<String>, Exit> {
        let mut out = io::stdout().lock();
        let _ = write!(out, "> ").and_then(|()| out.flush());
        let mut bytes = Vec::new();
        let read = io::Read::take(io::stdin().lock(), MOST_TYPED).read_until(b'\n', &mut bytes);
        if !self.shows_typing || bytes.is_empty() {
            let _ = writeln!(out);
        }
        match read {
            Ok(0) => Ok(None),
            Ok(_) => String::from_utf8(bytes).map(Some).map_err(|_| {
                super::refused(
                    "an answer is no UTF-8 text; type it again in a UTF-8 terminal, or give it as a flag",
                )
            }),
            Err(error) => Err(super::refused(&format!(
                "answers can't be read: {error}; give them as flags, with --yes"
            ))),
        }
    }
}
