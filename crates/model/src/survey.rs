//! A survey: all readings of one tank under one scene with no gap over six hours.

use crate::{Fact, Flag, ImportProblem, Measured, Position, Reasons, SharedPart, Text};
use jiff::Timestamp;
use jiff::civil::Date;

/// A survey after take-in: everything about it that later stages need. Its single readings are not held
/// here; they are streamed when its package is written.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// The tank's id.
    pub tank: String,
    /// `<local date>-<scene>`, with `-2`, `-3` where a day has more.
    pub id: String,
    /// From 1; one more for each arrival that touched it.
    pub revision: u32,
    /// The lighting scene, where one is known.
    pub scene: Option<String>,
    /// Surveys that it took over when a late file joined them.
    pub replaces: Vec<String>,
    /// The first and last reading.
    pub start: Timestamp,
    /// The last reading.
    pub end: Timestamp,
    /// The site-zone day of the first reading; blocks with `from` and `until` are taken as of this day.
    pub date: Date,
    /// The site's zone, IANA name.
    pub timezone: String,
    /// Files it is made of, in order of arrival.
    pub sources: Vec<SourceFile>,
    /// Files that were part of it until the keeper withdrew them, in order of arrival.
    pub withdrawn: Vec<WithdrawnFile>,
    /// Devices it was read with, in order of their ids.
    pub devices: Vec<DeviceUse>,
    /// In declared order, then by name.
    pub stations: Vec<StationValue>,
    /// Of its readings.
    pub counts: FlagCounts,
    /// What the note says of the pumps.
    pub pumps_on: Option<bool>,
    /// The day's water level, cm from the bottom pane.
    pub water_cm: Option<f64>,
    /// Stations to read again, worst first.
    pub read_again: Vec<ReadAgain>,
    /// Sentences on what was assumed or moved (zone, folded times, gaps, dates), in order.
    pub said: Vec<String>,
    /// True where every used value goes back to a reference: a correction with a fit, or a reference device.
    pub tied_to_reference: bool,
}

/// One file of a survey.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceFile {
    /// Its inbox path, as shown.
    pub path: Text,
    /// BLAKE3 of its bytes, lower-case hexadecimal.
    pub blake3: String,
    /// The importer's name.
    pub importer: String,
    /// The importer's version.
    pub importer_version: String,
    /// Readings it gave to this survey.
    pub rows: u64,
    /// What the importer found out or assumed.
    pub facts: Vec<Fact>,
    /// What could not be read as it stood.
    pub problems: Vec<ImportProblem>,
    /// The keeper's remark from the note.
    pub remark: Option<String>,
    /// Who took it, from the note.
    pub taken_by: Option<String>,
    /// The notes that came for it, as they stand, oldest first; the last one holds.
    pub notes: Vec<String>,
    /// An undeclared name as the file or folder gave it, and the id made of it.
    pub renamed: Vec<(String, String)>,
}

/// A file that the keeper took out of every judgement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WithdrawnFile {
    /// Its inbox path, as shown.
    pub path: Text,
    /// BLAKE3 of its bytes, lower-case hexadecimal.
    pub blake3: String,
    /// The keeper's words.
    pub why: String,
    /// When it was withdrawn.
    pub when: Timestamp,
}

/// A device as it was used in a survey.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceUse {
    /// Its id.
    pub id: String,
    /// As shown to people.
    pub name: String,
    /// True for a reference.
    pub is_reference: bool,
    /// False where nothing was declared about it.
    pub declared: bool,
    /// Readings.
    pub readings: u64,
    /// The corrections used, in words: each its `valid_from` and what it holds.
    pub corrections: Vec<String>,
    /// k = 1, percent.
    pub rezero_percent: f64,
}

/// Readings by flag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FlagCounts {
    /// Flag 1.
    pub good: u64,
    /// Flag 2.
    pub not_evaluated: u64,
    /// Flag 3.
    pub questionable: u64,
    /// Flag 4.
    pub bad: u64,
    /// Flag 9.
    pub missing: u64,
}

impl FlagCounts {
    /// One more with this flag.
    pub fn count(&mut self, flag: Flag) {
        match flag {
            Flag::Good => self.good += 1,
            Flag::NotEvaluated => self.not_evaluated += 1,
            Flag::Questionable => self.questionable += 1,
            Flag::Bad => self.bad += 1,
            Flag::Missing => self.missing += 1,
        }
    }

    /// One that was counted with one flag has another now.
    pub fn recount(&mut self, from: Flag, to: Flag) {
        let count = match from {
            Flag::Good => &mut self.good,
            Flag::NotEvaluated => &mut self.not_evaluated,
            Flag::Questionable => &mut self.questionable,
            Flag::Bad => &mut self.bad,
            Flag::Missing => &mut self.missing,
        };
        *count = count.saturating_sub(1);
        self.count(to);
    }

    /// All of them.
    pub fn total(self) -> u64 {
        self.good + self.not_evaluated + self.questionable + self.bad + self.missing
    }
}

/// One row of `stations.csv`, but for the change.
#[derive(Debug, Clone, PartialEq)]
pub struct StationValue {
    /// Its id or stable name.
    pub station: Text,
    /// True where the tank file declares it.
    pub declared: bool,
    /// Declared, else the mean of its readings' positions; `None` where no reading has one.
    pub position: Option<Position>,
    /// Every row.
    pub readings: u64,
    /// Those in the value.
    pub used: u64,
    /// `None` where none was used or no way leads to µmol.
    pub value: Option<Measured>,
    /// The device whose readings made the value.
    pub device: Text,
    /// Which correction made it: the same text for the same device and correction, empty for none.
    pub correction: Text,
    /// Shared sources of uncertainty, each with its size.
    pub shared: Vec<SharedPart>,
    /// Of the own uncertainty what comes from where the device was held, k = 1, µmol m⁻² s⁻¹.
    pub u_place_ppfd: Option<f64>,
    /// And what comes from its tilt and cosine response.
    pub u_tilt_ppfd: Option<f64>,
    /// Relative gradient of the light at the station (∂ ln E / ∂ left, up, back), per cm, where the tank's geometry tells.
    pub gradient_per_cm: Option<[f64; 3]>,
    /// Relative standard deviation of the burst, percent, where there are at least three.
    pub scatter_percent: Option<f64>,
    /// Quality.
    pub flag: Flag,
    /// All reasons found among its readings.
    pub reasons: Reasons,
}

/// A station to read again.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadAgain {
    /// Its name.
    pub station: Text,
    /// Why, in words.
    pub why: String,
}
