//! Descriptions beside tables, W3C metadata and data packages: each goes with its tables, as notes do, and is archived
//! with them as part of their note.

use super::round::{Round, archive_options};
use super::{Engine, EngineError, Outcome, What};
use std::collections::BTreeMap;
use std::time::Duration;
use undim_config::{described, described_tables, note_part, parse_note, with_description};
use undim_intake::listing::Entry;
use undim_intake::names;
use undim_intake::spool::{ArchiveOptions, Shelf, read_small};

/// A description is text, and written for one table or some.
const LARGEST: u64 = 1 << 20;

/// What lies beside a table and describes it.
pub(super) struct Told {
    pub(super) path: Vec<u8>,
    /// Its name.
    pub(super) by: String,
    pub(super) text: String,
    /// It goes where its table goes; a data package may speak of further ones and stays until none is there.
    pub(super) goes_along: Option<Entry>,
}

impl Engine {
    /// The description that lies beside a file; the error is its path and a sentence.
    pub(super) fn description_beside(&self, entry: &Entry) -> Result<Option<Told>, (Vec<u8>, String)> {
        let own = names::metadata_of_file(&entry.path);
        let folder = names::folder_of(&entry.path);
        let table = names::shown(names::file_name(&entry.path));
        let is_own = |other: &&Entry| other.path == own;
        let is_shared =
            |other: &&Entry| names::is_package(&other.path) && names::folder_of(&other.path) == folder;
        let all = || self.listing.entries.iter();
        for beside in all().filter(is_own).chain(all().filter(is_shared)) {
            let blame = |why: String| (beside.path.clone(), why);
            let text = self.read_description(beside).map_err(blame)?;
            let by = names::shown(names::file_name(&beside.path));
            let goes_along = (beside.path == own).then(|| beside.clone());
            match described(&text, &table, &by).map_err(blame)? {
                None if goes_along.is_some() => {
                    return Err(blame(format!("its `url` names no table {table}")));
                }
                None => {}
                Some(_) => {
                    return Ok(Some(Told {
                        path: beside.path.clone(),
                        by,
                        text,
                        goes_along,
                    }));
                }
            }
        }
        Ok(None)
    }

    /// Data packages beside which no other file lies: true where a table of theirs was taken in before.
    pub(super) fn lone_packages(&self, ready: &[Entry]) -> BTreeMap<Vec<u8>, bool> {
        let mut lone = BTreeMap::new();
        for entry in ready.iter().filter(|entry| names::is_package(&entry.path)) {
            let folder = names::folder_of(&entry.path);
            let accompanied = self
                .listing
                .entries
                .iter()
                .any(|other| names::folder_of(&other.path) == folder && !names::is_beside(&other.path));
            if !accompanied {
                let known = self.tables_of(entry).iter().any(|table| self.is_known(table));
                lone.insert(entry.path.clone(), known);
            }
        }
        lone
    }

    fn is_known(&self, table: &[u8]) -> bool {
        matches!(self.store.last_at_path(table), Ok(Some(_)))
    }

    /// The paths of the tables that a description speaks of.
    fn tables_of(&self, entry: &Entry) -> Vec<Vec<u8>> {
        if let Some(table) = names::file_of_metadata(&entry.path) {
            return vec![table.to_vec()];
        }
        let text = self.read_description(entry).unwrap_or_default();
        let folder = names::folder_of(&entry.path);
        let tables = described_tables(&text).into_iter();
        tables
            .map(|table| {
                let name = table.strip_prefix("./").unwrap_or(&table).as_bytes();
                if folder.is_empty() {
                    name.to_vec()
                } else {
                    [folder, b"/", name].concat()
                }
            })
            .collect()
    }

    fn read_description(&self, entry: &Entry) -> Result<String, String> {
        let options = ArchiveOptions {
            max_file: LARGEST,
            ..archive_options(&self.site, &self.cancel, false)
        };
        let bytes = read_small(&self.site.inbox, entry, &options).map_err(|error| error.to_string())?;
        String::from_utf8(bytes).map_err(|_| "it is no UTF-8 text".to_owned())
    }

    /// A description that comes after its tables: they are read again by it.
    pub(super) fn take_description_alone(
        &mut self,
        round: &mut Round,
        entry: &Entry,
        now: Duration,
    ) -> Result<(), EngineError> {
        let by = names::shown(names::file_name(&entry.path));
        let tables = self.tables_of(entry);
        let text = self.read_description(entry).and_then(|text| {
            let mut any = false;
            for table in &tables {
                any |= described(&text, &names::shown(names::file_name(table)), &by)?.is_some();
            }
            if any {
                Ok(text)
            } else {
                Err("it speaks of no table that lies beside it".to_owned())
            }
        });
        let text = match text {
            Ok(text) => text,
            Err(why) => {
                self.hold_back(entry, now);
                let what = What::HeldBack {
                    why: names::harmless(&why),
                };
                round.outcomes.push(Outcome {
                    path: names::shown(&entry.path),
                    what,
                });
                return Ok(());
            }
        };
        let told = with_description("", &by, &text);
        let before = round.put_away.len();
        for table in tables {
            if let Some(content) = self.store.last_at_path(&table)? {
                self.redescribe(round, &content.hash, Some(entry.clone()), &told)?;
            }
        }
        // Once is enough, however many tables it speaks of; set aside where one of them could not be read by it.
        let own = round.put_away.split_off(before);
        let refused = own.iter().find(|(_, shelf, _)| *shelf != Shelf::Taken).cloned();
        round
            .put_away
            .push(refused.unwrap_or_else(|| (entry.clone(), Shelf::Taken, None)));
        Ok(())
    }

    /// Lets a description speak for a content beside what the keeper noted.
    pub(super) fn redescribe(
        &mut self,
        round: &mut Round,
        hash: &str,
        entry: Option<Entry>,
        told: &str,
    ) -> Result<(), EngineError> {
        let noted = self.last_note_of(hash);
        let noted = note_part(&noted);
        let text = format!("{noted}{told}");
        match parse_note(text.as_bytes(), "note") {
            Ok(note) => self.renote(round, hash, entry, text, note),
            Err(_) => Ok(()),
        }
    }

    /// The text of the note that holds for a content, with the description kept in it.
    pub(super) fn last_note_of(&self, hash: &str) -> String {
        self.held
            .iter()
            .find(|held| held.content.hash == hash)
            .and_then(|held| held.notes.last())
            .map(|(_, text, _)| text.clone())
            .unwrap_or_default()
    }
}
