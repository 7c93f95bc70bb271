//! The readings of the file as surveys, with nothing declared.

use super::LookFile;
use crate::engine::{CachedRows, Cancel, EngineError, Held, Imported, VERSION, place, write_package};
use jiff::tz::TimeZone;
use std::path::Path;
use undim_config::{Note, Site};
use undim_drift::{History, Judged, judge};
use undim_emit::{Report, SiteZone};
use undim_model::{Reading, Survey, Tank};
use undim_store::{Content, ContentState};
use undim_survey::{Arrival, Book, Entry, SiteView, TakenIn, take_in};

/// The name that stands for the site on a page.
const SITE_NAME: &str = "undim look";

/// A file with more surveys than this shows its first, which the others are held against, and the newest.
const MOST_SURVEYS: usize = 24;

/// The surveys of one file, judged.
pub(crate) struct Surveys<'s> {
    site: &'s Site,
    zone: TimeZone,
    site_zone: SiteZone,
    tank: Tank,
    held: Held,
    /// Each with what its bursts told, by their start.
    taken: Vec<(Entry, TakenIn)>,
    /// The same, as they are judged.
    surveys: Vec<Survey>,
    judged: Judged,
    /// Surveys that were left out because there are too many.
    pub(crate) left_out: usize,
}

impl<'s> Surveys<'s> {
    /// Takes the rows in; `hash` is the BLAKE3 of the file, where a package is wanted. `None` where a stop
    /// was asked for; the error is a sentence.
    pub(crate) fn take_in(
        site: &'s Site,
        file: &LookFile,
        hash: &str,
        imported: Imported,
        rows: CachedRows,
        cancel: &Cancel,
    ) -> Result<Option<Self>, String> {
        Self::take_in_with(site, file, hash, imported, rows, &Note::default(), cancel)
    }

    /// The same under a note.
    pub(crate) fn take_in_with(
        site: &'s Site,
        file: &LookFile,
        hash: &str,
        imported: Imported,
        rows: CachedRows,
        note: &Note,
        cancel: &Cancel,
    ) -> Result<Option<Self>, String> {
        let unknown = || format!("the time zone {} is not known", site.timezone.name);
        let zone = undim_clean::time::zone(&site.timezone.name).ok_or_else(unknown)?;
        let site_zone = SiteZone::named(&site.timezone.name).map_err(|_| unknown())?;
        let content = content(file, hash);
        let placed =
            place(site, &zone, &content, note, &imported, &rows).map_err(|unfit| unfit.to_string())?;
        let id = placed.belongs.tank.clone();
        let tank = Tank {
            name: Path::new(&file.name)
                .file_stem()
                .map_or_else(|| id.clone(), |stem| stem.to_string_lossy().into_owned()),
            ..Tank::undeclared(&id)
        };
        let mut book = Book::new(zone.clone());
        book.enter(&Arrival::Came {
            content: 0,
            placement: placed.placement(),
            replaces: None,
        });
        let mut entries = book.entries();
        let left_out = entries.len().saturating_sub(MOST_SURVEYS);
        if left_out > 0 {
            entries.drain(1..=left_out);
        }
        let mut this = Self {
            site,
            zone,
            site_zone,
            tank,
            held: Held {
                content,
                notes: Vec::new(),
                imported,
                key: String::new(),
                replaces: None,
                withdrawn: None,
                placed,
                rows,
            },
            taken: Vec::new(),
            surveys: Vec::new(),
            judged: Judged::default(),
            left_out,
        };
        for entry in entries {
            if cancel.asked() {
                return Ok(None);
            }
            let taken =
                take_in(&entry, &[this.held.source()], this.view()).map_err(|error| error.to_string())?;
            this.surveys.push(taken.survey.clone());
            this.taken.push((entry, taken));
        }
        this.judged = judge(&History {
            tank: &this.tank,
            surveys: &this.surveys.iter().collect::<Vec<_>>(),
            upkeep: &[],
        });
        Ok(Some(this))
    }

    /// Each survey, judged, by their start.
    pub(crate) fn reports(&self) -> impl DoubleEndedIterator<Item = Report<'_>> + ExactSizeIterator {
        let pairs = self.surveys.iter().zip(&self.judged.judgements);
        pairs.enumerate().map(|(number, (survey, judgement))| Report {
            site_name: SITE_NAME,
            tank: &self.tank,
            survey,
            judgement,
            earlier: number
                .checked_sub(1)
                .and_then(|before| self.surveys.get(before))
                .map(|survey| survey.id.as_str()),
            side_by_side: &[],
            in_site: false,
            software_version: VERSION,
        })
    }

    /// Writes the package of each survey below a folder, under the survey's id; gives the ids.
    pub(crate) fn write_packages(&self, folder: &Path, cancel: &Cancel) -> Result<Vec<&str>, EngineError> {
        let sources = [self.held.source()];
        for (report, (entry, taken)) in self.reports().zip(&self.taken) {
            write_package(folder, &report, &self.site_zone, self.site.csv, &|write| {
                taken.each_reading(entry, &sources, self.view(), |reading| {
                    if cancel.asked() {
                        return Err(EngineError::Cancelled);
                    }
                    write(reading)
                })
            })?;
        }
        Ok(self.surveys.iter().map(|survey| survey.id.as_str()).collect())
    }

    /// Every reading, with the scene it was taken under.
    pub(crate) fn each_reading(
        &self,
        take: &mut dyn FnMut(&Reading, Option<&str>),
    ) -> Result<(), EngineError> {
        let sources = [self.held.source()];
        for (entry, taken) in &self.taken {
            taken.each_reading(entry, &sources, self.view(), |reading| {
                take(reading, entry.scene.as_deref());
                Ok::<(), EngineError>(())
            })?;
        }
        Ok(())
    }

    fn view(&self) -> SiteView<'_> {
        SiteView {
            tank: &self.tank,
            devices: &self.site.devices,
            zone: &self.zone,
            zone_name: &self.site.timezone.name,
        }
    }
}

/// The file as if it had come into an inbox, alone.
fn content(file: &LookFile, hash: &str) -> Content {
    Content {
        hash: hash.to_owned(),
        arrival: 1,
        path: file.name_bytes.clone(),
        shown: file.name.clone(),
        bytes: file.bytes,
        mtime_us: file.mtime_us,
        state: ContentState::Taken,
        superseded_by: None,
        why: None,
        importer: None,
        importer_version: None,
        options_fingerprint: None,
        rows: None,
        put_away_path: None,
    }
}
