//! Lists of upkeep that were dropped into the inbox: archived as they came, never written into the keeper's own
//! `upkeep/<tank>.csv`.
//!
//! What counts for a tank is its file's lines, then those of the dropped lists in order of arrival, each line
//! once. So raw files and configuration stay the truth, and a rebuild comes to the same.

use super::arrive::Refusal;
use super::context::belongs;
use super::round::{Coming, Round};
use super::{Engine, EngineError, Outcome, VERSION, What};
use std::fs::File;
use std::io::{self, Read as _};
use undim_config::{Mistake, Note, is_upkeep, parse_upkeep};
use undim_intake::listing::Entry;
use undim_intake::names;
use undim_intake::spool::{Happening, Record, Shelf, content_path};
use undim_model::Upkeep;
use undim_store::{Content, ContentState, Note as StoredNote, NoteState};

/// The name that stands for an importer in the ledger.
const READER: &str = "upkeep";

/// A longer list was never typed.
const LARGEST: u64 = 1 << 20;

/// Bytes that a header is looked for in.
const HEADER: u64 = 1 << 10;

/// Mistakes of one list that are told.
const TOLD: usize = 5;

/// A list that counts.
#[derive(Debug, Clone)]
pub(super) struct HeldUpkeep {
    content: Content,
    /// Notes that ever spoke for it, as they came.
    notes: Vec<(u64, String)>,
    tank: String,
    lines: Vec<Upkeep>,
}

impl Engine {
    /// The lines of a list of upkeep; nothing where the content is no such list, or its route or note has it read
    /// by an importer or a layout.
    pub(super) fn upkeep_in(
        &self,
        hash: &str,
        path: &[u8],
        note: &Note,
    ) -> Result<Option<Vec<Upkeep>>, Refusal> {
        let raw = content_path(&self.raw(), hash);
        let failed = |error: io::Error| Refusal::Failed(EngineError::state(&raw, &error).to_string());
        let mut start = Vec::new();
        let mut file = File::open(&raw).map_err(failed)?;
        file.by_ref()
            .take(HEADER)
            .read_to_end(&mut start)
            .map_err(failed)?;
        if !is_upkeep(&start) {
            return Ok(None);
        }
        let belongs = belongs(&self.site, path, note, None).map_err(Refusal::set_aside)?;
        if belongs.importer.is_some() || belongs.layout.is_some() {
            return Ok(None);
        }
        file.take(LARGEST).read_to_end(&mut start).map_err(failed)?;
        if start.len() as u64 > LARGEST {
            return Err(Refusal::set_aside(
                "a list of upkeep larger than 1 MiB was never typed by hand; part it in two",
            ));
        }
        let shown = names::shown(names::file_name(path));
        parse_upkeep(&start, shown)
            .map(Some)
            .map_err(|mistakes| Refusal::set_aside(in_words(&mistakes)))
    }

    /// The same list came before, in this round or another.
    pub(super) fn upkeep_twin(&self, hash: &str) -> Option<Content> {
        let twin = self.upkeep.iter().find(|held| held.content.hash == hash);
        twin.map(|held| held.content.clone())
    }

    /// Enters a list that came.
    pub(super) fn enter_upkeep(
        &mut self,
        round: &mut Round,
        one: Coming,
        lines: Vec<Upkeep>,
        now: std::time::Duration,
    ) -> Result<(), EngineError> {
        let note = one
            .note
            .as_ref()
            .map(|(_, _, note)| note.clone())
            .unwrap_or_default();
        let tank = match belongs(&self.site, &one.entry.path, &note, None) {
            Ok(belongs) => belongs.tank,
            Err(why) => {
                self.refuse(round, &one, Refusal::set_aside(why), now);
                return Ok(());
            }
        };
        let Some(archived) = &one.archived else {
            return Ok(());
        };
        let known = self.upkeep_of(&tank);
        let mut added = lines.clone();
        added.retain(|line| !known.contains(line));
        let what = What::Upkeep {
            tank: tank.clone(),
            lines: lines.len(),
            added: without_repeats(added).len(),
            unknown: self.unknown_targets(&tank, &lines),
        };
        let path = names::shown(&one.entry.path);
        let content = Content {
            hash: archived.hash.clone(),
            arrival: round.next_arrival,
            path: one.entry.path.clone(),
            shown: path.clone(),
            bytes: archived.bytes,
            mtime_us: archived.mtime_us,
            state: ContentState::Taken,
            superseded_by: None,
            why: None,
            importer: Some(READER.to_owned()),
            importer_version: Some(VERSION.to_owned()),
            options_fingerprint: None,
            rows: Some(lines.len() as u64),
            put_away_path: None,
        };
        let note = one.note.map(|(entry, text, _)| (entry, text));
        let notes = note
            .iter()
            .map(|(_, text)| (content.arrival + 1, text.clone()))
            .collect();
        self.keep_arrival(round, &content, note)?;
        round.batch.contents.push(content.clone());
        round.tanks.insert(tank.clone());
        let beside = one.also.into_iter().chain([one.entry]);
        round
            .put_away
            .extend(beside.map(|entry| (entry, Shelf::Taken, None)));
        round.outcomes.push(Outcome { path, what });
        self.upkeep.push(HeldUpkeep {
            content,
            notes,
            tank,
            lines,
        });
        Ok(())
    }

    /// Takes a list of the ledger into memory; false where the content is none.
    pub(super) fn hold_upkeep(
        &mut self,
        content: &Content,
        notes: &[(u64, String, Note)],
    ) -> Result<bool, String> {
        if content.bytes > LARGEST {
            return Ok(false);
        }
        let failed = |why: String| format!("{} can't be derived again: {why}", content.shown);
        let note = notes.last().map(|(_, _, note)| note.clone()).unwrap_or_default();
        let lines = match self.upkeep_in(&content.hash, &content.path, &note) {
            Ok(None) => return Ok(false),
            Ok(Some(lines)) => lines,
            Err(Refusal::SetAside { why, .. } | Refusal::Later(why) | Refusal::Failed(why)) => {
                return Err(failed(why));
            }
        };
        let belongs = belongs(&self.site, &content.path, &note, None).map_err(failed)?;
        let counts = content.state != ContentState::Withdrawn;
        self.upkeep.push(HeldUpkeep {
            content: content.clone(),
            notes: notes
                .iter()
                .map(|(arrival, text, _)| (*arrival, text.clone()))
                .collect(),
            tank: belongs.tank,
            lines: if counts { lines } else { Vec::new() },
        });
        Ok(true)
    }

    /// A note that speaks for a list: only the tank can change by it. False where the content is no list.
    pub(super) fn renote_upkeep(
        &mut self,
        round: &mut Round,
        hash: &str,
        entry: &Entry,
        text: &str,
        note: &Note,
    ) -> Result<bool, EngineError> {
        let Some(number) = self.upkeep.iter().position(|held| held.content.hash == hash) else {
            return Ok(false);
        };
        let HeldUpkeep {
            content, notes, tank, ..
        } = self.upkeep[number].clone();
        let path = names::shown(&entry.path);
        let belongs = match belongs(&self.site, &content.path, note, None) {
            Ok(belongs) => belongs,
            Err(why) => {
                super::notes::refuse_note(round, entry.clone(), &why);
                return Ok(true);
            }
        };
        round.put_away.push((entry.clone(), Shelf::Taken, None));
        round.outcomes.push(Outcome {
            path,
            what: What::Noted {
                file: content.shown.clone(),
                tank: belongs.tank.clone(),
                surveys: Vec::new(),
                withdrawn: content.state == ContentState::Withdrawn,
            },
        });
        let last = notes.last();
        if last.is_some_and(|(_, last)| last == text) {
            return Ok(true);
        }
        // The number right after a content's own is that of the note it came with.
        let arrival = round.next_arrival.max(content.arrival + 2);
        round.next_arrival = arrival + 1;
        self.keep(&Record {
            arrival,
            hash: hash.to_owned(),
            happening: Happening::Note {
                path: names::note_of_file(&content.path),
                text: text.to_owned(),
            },
        })?;
        let stored = |arrival: u64, text: &str, state| StoredNote {
            arrival,
            path: content.path.clone(),
            content: Some(hash.to_owned()),
            text: text.to_owned(),
            state,
        };
        round.batch.notes.push(stored(arrival, text, NoteState::Attached));
        if let Some((old, text)) = last {
            round.batch.notes.push(stored(*old, text, NoteState::Replaced));
        }
        round.tanks.insert(tank);
        round.tanks.insert(belongs.tank.clone());
        let held = &mut self.upkeep[number];
        held.notes.push((arrival, text.to_owned()));
        held.tank = belongs.tank;
        Ok(true)
    }

    /// All that counts as upkeep of a tank: its file's lines, then those of dropped lists, each once.
    pub(super) fn upkeep_of(&self, tank: &str) -> Vec<Upkeep> {
        let written = self.site.upkeep.get(tank).cloned().unwrap_or_default();
        let dropped = self.dropped_upkeep(tank);
        if dropped.is_empty() {
            return written;
        }
        let mut all = written;
        for line in dropped {
            if !all.contains(&line) {
                all.push(line);
            }
        }
        all
    }

    /// The lines of dropped lists alone, in order of arrival.
    fn dropped_upkeep(&self, tank: &str) -> Vec<Upkeep> {
        let of_tank = self.upkeep.iter().filter(|held| held.tank == tank);
        of_tank.flat_map(|held| held.lines.iter().cloned()).collect()
    }

    /// What a tank's packages depend on beside its upkeep file; empty where nothing was dropped.
    pub(super) fn upkeep_fingerprint(&self, tank: &str) -> Option<String> {
        let dropped = self.dropped_upkeep(tank);
        (!dropped.is_empty()).then(|| format!("{dropped:?}"))
    }

    /// Names in `where` that are no fixture, device or station of a declared tank.
    fn unknown_targets(&self, tank: &str, lines: &[Upkeep]) -> Vec<String> {
        let Some(tank) = self.site.tanks.get(tank) else {
            return Vec::new();
        };
        let is_known = |name: &String| {
            tank.fixtures.iter().any(|fixture| fixture.id == *name)
                || tank.stations.iter().any(|station| station.id == *name)
                || self.site.devices.contains_key(name)
        };
        let mut unknown: Vec<String> = lines
            .iter()
            .filter_map(|line| line.target.clone())
            .filter(|name| !is_known(name))
            .map(|name| names::harmless(&name))
            .collect();
        unknown.sort();
        unknown.dedup();
        unknown
    }
}

fn without_repeats(lines: Vec<Upkeep>) -> Vec<Upkeep> {
    let mut once: Vec<Upkeep> = Vec::with_capacity(lines.len());
    for line in lines {
        if !once.contains(&line) {
            once.push(line);
        }
    }
    once
}

/// The first mistakes, each with its place and what to do.
fn in_words(mistakes: &[Mistake]) -> String {
    let mut told: Vec<String> = mistakes
        .iter()
        .take(TOLD)
        .map(|mistake| {
            let hint = mistake.hint.as_ref().map(|hint| format!("; {hint}"));
            format!(
                "line {}, column {}: {}{}",
                mistake.line,
                mistake.column,
                mistake.text,
                hint.unwrap_or_default()
            )
        })
        .collect();
    if mistakes.len() > TOLD {
        told.push(format!("and {} more", mistakes.len() - TOLD));
    }
    told.join("\n")
}
