//! A content as the engine works with it: one file's bytes, and what is known of them.

use super::EngineError;
use super::context::{Belongs, belongs};
use super::rows::CachedRows;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use undim_config::{Note, Site};
use undim_intake::names;
use undim_model::{Fact, ImportProblem, LengthUnit, SourceFile, Text};
use undim_store::{Content, Withdrawal};
use undim_survey::{Placement, RowsError, Scan, Source, Timing, local_date, scan};

/// What an importer made of a content, as it is kept in the ledger. Derived: a rebuild makes it again.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct Imported {
    /// The importer's name.
    pub(crate) importer: String,
    /// Its version.
    pub(crate) version: String,
    /// Rows it gave.
    pub(crate) rows: u64,
    /// What it found out or assumed: key, value, whether assumed.
    pub(crate) facts: Vec<(String, String, bool)>,
    /// What could not be read: line, column, text.
    pub(crate) problems: Vec<(u64, u32, String)>,
    /// More of those than are kept.
    pub(crate) more_problems: u64,
}

impl Imported {
    fn facts(&self) -> Vec<Fact> {
        let fact = |(key, value, assumed): &(String, String, bool)| Fact {
            key: key.clone(),
            value: value.clone(),
            assumed: *assumed,
        };
        self.facts.iter().map(fact).collect()
    }

    fn problems(&self) -> Vec<ImportProblem> {
        let problem = |(line, column, text): &(u64, u32, String)| ImportProblem {
            line: *line,
            column: *column,
            text: text.clone(),
        };
        let more = (self.more_problems > 0).then(|| ImportProblem {
            line: 0,
            column: 0,
            text: format!("and {} more", self.more_problems),
        });
        self.problems.iter().map(problem).chain(more).collect()
    }

    /// What was found under a key.
    pub(crate) fn fact(&self, key: &str) -> Option<&str> {
        self.facts
            .iter()
            .find(|(found, _, _)| found == key)
            .map(|(_, value, _)| value.as_str())
    }
}

/// A content whose readings count, or counted.
#[derive(Debug, Clone)]
pub(crate) struct Held {
    /// Its row in the ledger.
    pub(crate) content: Content,
    /// The notes that ever spoke for it, with their arrivals; the last one holds.
    pub(crate) notes: Vec<(u64, String, Note)>,
    /// What its importer made of it.
    pub(crate) imported: Imported,
    /// Fingerprint of all that its rows depend on.
    pub(crate) key: String,
    /// The content that it replaces.
    pub(crate) replaces: Option<usize>,
    /// Where it is withdrawn: how that came.
    pub(crate) withdrawn: Option<Withdrawal>,
    /// Its place and times under its last note.
    pub(crate) placed: Placed,
    /// Its rows.
    pub(crate) rows: CachedRows,
}

/// Where a content belongs and when its readings were taken, under one note.
#[derive(Debug, Clone)]
pub(crate) struct Placed {
    pub(crate) belongs: Belongs,
    pub(crate) timing: Timing,
    pub(crate) scan: Scan,
    said: Vec<String>,
}

impl Placed {
    /// What the book of surveys is told.
    pub(crate) fn placement(&self) -> Placement {
        Placement {
            tank: self.belongs.tank.clone(),
            scene: self.belongs.scene.clone(),
            // The log of a mounted sensor makes minutes and days, no surveys.
            spans: match self.belongs.mounted {
                Some(_) => Vec::new(),
                None => self.scan.spans.clone(),
            },
        }
    }
}

impl Held {
    /// The note that holds.
    pub(crate) fn note(&self) -> Note {
        self.notes
            .last()
            .map(|(_, _, note)| note.clone())
            .unwrap_or_default()
    }

    /// As take-in wants it.
    pub(crate) fn source(&self) -> Source<'_> {
        let note = self.note();
        let unit = |axis: &str| {
            self.imported
                .fact(&format!("unit.{axis}"))
                .and_then(LengthUnit::from_code)
        };
        let belongs = &self.placed.belongs;
        Source {
            file: SourceFile {
                path: Text::from(self.content.shown.as_str()),
                blake3: self.content.hash.clone(),
                importer: self.imported.importer.clone(),
                importer_version: self.imported.version.clone(),
                rows: 0,
                facts: self.imported.facts(),
                problems: self.imported.problems(),
                remark: note.remark.clone(),
                taken_by: note.taken_by.clone(),
                notes: self.notes.iter().map(|(_, text, _)| text.clone()).collect(),
                renamed: belongs
                    .tank_given
                    .iter()
                    .filter(|given| **given != belongs.tank)
                    .map(|given| (given.clone(), belongs.tank.clone()))
                    .collect(),
            },
            timing: self.placed.timing.clone(),
            scan: self.placed.scan.clone(),
            rows: &self.rows,
            frame: belongs.frame.clone(),
            length_units: [unit("x"), unit("y"), unit("z")],
            device_note: belongs.device_note.clone(),
            device_fallback: belongs.device_fallback.clone(),
            // All readings of a mounted sensor belong to its station, whatever file or note call it.
            station_note: belongs.mounted.clone().or_else(|| belongs.station_note.clone()),
            station_fallback: None,
            pumps_on: note.pumps_on,
            water_cm: note.water_cm,
            fixtures_on_min: note.fixtures_on_min,
            said: self.placed.said.clone(),
        }
    }
}

/// Why a content can't be entered.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Unfit {
    /// The file, its note or its route is to blame; the sentence says what to do.
    #[error("{0}")]
    Refused(String),
    /// The file is not to blame.
    #[error(transparent)]
    Failed(EngineError),
}

impl From<String> for Unfit {
    fn from(why: String) -> Self {
        Self::Refused(why)
    }
}

/// Finds out where a content belongs and when its readings were taken.
pub(crate) fn place(
    site: &Site,
    zone: &TimeZone,
    content: &Content,
    note: &Note,
    imported: &Imported,
    rows: &CachedRows,
) -> Result<Placed, Unfit> {
    let mut said = Vec::new();
    let file_zone = match imported.fact("timezone") {
        Some(name) => undim_clean::time::zone(name).ok_or_else(|| {
            format!("its time zone “{name}” is not known; write an IANA name such as Europe/Lisbon")
        })?,
        None => zone.clone(),
    };
    let (date, from) = date_of(content, note, zone);
    let undated = zone
        .to_timestamp(date.at(12, 0, 0, 0))
        .map_err(|error| error.to_string())?;
    let timing = Timing {
        zone: file_zone,
        clock_offset_us: note.clock_offset_us.unwrap_or(0),
        undated,
    };
    let scan = scan(rows, &timing).map_err(|error| match error {
        RowsError::Unreadable(_) => Unfit::Failed(EngineError::State {
            path: content.shown.clone(),
            error: error.to_string(),
        }),
        other @ RowsError::TooLongToSort { .. } => Unfit::Refused(other.to_string()),
    })?;
    if scan.rows == 0 {
        return Err(Unfit::Refused("it holds no readings".to_owned()));
    }
    if scan.timed == 0 {
        said.push(format!("it holds no times; {date}, {from}, was taken as its day"));
    }
    if timing.clock_offset_us != 0 {
        said.push(format!(
            "{} s were added to its times, as the note says",
            timing.clock_offset_us as f64 / 1e6
        ));
    }
    let is_wall = scan.timed > 0 && imported.fact("timezone").is_none();
    if is_wall && !site.timezone.stated {
        said.push(format!(
            "no time zone is stated; times without an offset are taken as the machine's, {}",
            site.timezone.name
        ));
    }
    let day = scan.spans.first().map(|span| local_date(span.start, zone));
    let belongs = belongs(site, &content.path, note, day)?;
    if let (Some(station), 0) = (&belongs.mounted, scan.timed) {
        return Err(Unfit::Refused(format!(
            "its route says that it is the log of a sensor mounted at {station}, and none of its rows has a time; name the column of times in a layout, or take `station` out of the route"
        )));
    }
    Ok(Placed {
        belongs,
        timing,
        scan,
        said,
    })
}

/// The day of a file without any time: from its note, else its name, else its modification time.
fn date_of(content: &Content, note: &Note, zone: &TimeZone) -> (Date, &'static str) {
    if let Some(date) = note.date {
        return (date, "from its note");
    }
    if let Some(date) = names::date_in(names::file_name(&content.path)) {
        return (date, "from its name");
    }
    let changed = Timestamp::from_microsecond(content.mtime_us).unwrap_or(Timestamp::UNIX_EPOCH);
    (local_date(changed, zone), "the day the file was last changed")
}
