//! A content that was read becomes part of its surveys, or is set aside.

use super::arrive::{Read, Reading, Refusal, begins_with};
use super::content::{Held, Unfit, place};
use super::round::{Coming, Round};
use super::{Engine, EngineError, Outcome, What};
use std::time::Duration;
use undim_config::Note;
use undim_intake::listing::Entry;
use undim_intake::names;
use undim_intake::spool::{Happening, Record, Shelf, record};
use undim_store::{Content, ContentState, Note as StoredNote, NoteState};
use undim_survey::{Arrival, TakeInError};

/// What is told of a content that was taken in.
struct Taken {
    importer: String,
    rows: u64,
    assumed: Vec<String>,
    problems: u64,
}

impl Taken {
    fn of(read: &Read) -> Self {
        let imported = &read.imported;
        Self {
            importer: imported.importer.clone(),
            rows: imported.rows,
            assumed: assumed(read),
            problems: imported.problems.len() as u64 + imported.more_problems,
        }
    }
}

impl Engine {
    /// Enters a content that was read: its surveys must come out of it, or it is set aside.
    pub(super) fn enter(
        &mut self,
        round: &mut Round,
        one: Coming,
        reading: &Reading,
        read: Read,
        now: Duration,
    ) -> Result<(), EngineError> {
        self.say_what_the_sandbox_lacks(&read);
        let what = Taken::of(&read);
        let held = match self.held_of(round, &one, reading, read) {
            Ok(held) => held,
            Err(Unfit::Refused(why)) => {
                self.refuse(round, &one, Refusal::set_aside(why), now);
                return Ok(());
            }
            Err(Unfit::Failed(error)) => return Err(error),
        };
        let number = self.held.len();
        let arrived = Arrival::Came {
            content: number,
            placement: held.placed.placement(),
            replaces: held.replaces,
        };
        self.held.push(held);
        let entered = self
            .try_enter(&arrived, number)
            .and_then(|surveys| self.check_mounted(number).map(|()| surveys));
        match entered {
            Ok(surveys) => self.entered(round, one, number, what, surveys),
            Err(EngineError::TakeIn(error)) if self.is_anothers_frame(&error, number) => {
                self.held.pop();
                let why =
                    format!("its survey holds a file that can't be derived again, mend that first: {error}");
                self.refuse(round, &one, Refusal::Later(why), now);
                Ok(())
            }
            Err(error) => {
                let why = error.blames_the_file()?;
                self.held.pop();
                self.refuse(round, &one, Refusal::set_aside(why), now);
                Ok(())
            }
        }
    }

    /// True where a survey fails on the frame of a file that was there before, not of the one that came.
    fn is_anothers_frame(&self, error: &TakeInError, number: usize) -> bool {
        matches!(error, TakeInError::Frame { path, .. } if *path != self.held[number].content.shown)
    }

    /// The content with its note, its place and its times, as far as it comes.
    fn held_of(&self, round: &Round, one: &Coming, reading: &Reading, read: Read) -> Result<Held, Unfit> {
        let arrival = round.next_arrival;
        let Some(archived) = &one.archived else {
            return Err(Unfit::Refused("it was not archived".to_owned()));
        };
        let content = Content {
            hash: archived.hash.clone(),
            arrival,
            path: one.entry.path.clone(),
            shown: names::shown(&one.entry.path),
            bytes: archived.bytes,
            mtime_us: archived.mtime_us,
            state: ContentState::Taken,
            superseded_by: None,
            why: None,
            importer: Some(read.imported.importer.clone()),
            importer_version: Some(read.imported.version.clone()),
            options_fingerprint: Some(reading.fingerprint.clone()),
            rows: Some(read.imported.rows),
            put_away_path: None,
        };
        let notes: Vec<(u64, String, Note)> = one
            .note
            .iter()
            .map(|(_, text, note)| (arrival + 1, text.clone(), note.clone()))
            .collect();
        let note = notes.last().map(|(_, _, note)| note.clone()).unwrap_or_default();
        let placed = place(
            &self.site,
            &self.zone,
            &content,
            &note,
            &read.imported,
            &read.rows,
        )?;
        if let Some(other) = self.other_tank_name(&placed.belongs) {
            return Err(Unfit::Refused(other));
        }
        let replaces = self.replaced_by(&content).map_err(Unfit::Failed)?;
        Ok(Held {
            content,
            notes,
            imported: read.imported,
            key: read.key,
            replaces,
            withdrawn: None,
            placed,
            rows: read.rows,
        })
    }

    /// Keeps what happened beside the bytes, and puts the rest into the round.
    fn entered(
        &mut self,
        round: &mut Round,
        one: Coming,
        number: usize,
        what: Taken,
        surveys: Vec<String>,
    ) -> Result<(), EngineError> {
        let Held {
            content,
            replaces,
            placed,
            ..
        } = self.held[number].clone();
        let note = one.note.map(|(entry, text, _)| (entry, text));
        self.keep_arrival(round, &content, note)?;
        let also = one.also.into_iter();
        round
            .put_away
            .extend(also.map(|entry| (entry, Shelf::Taken, None)));
        if let Some(old) = replaces {
            let old = &mut self.held[old].content;
            old.state = ContentState::Superseded;
            old.superseded_by = Some(content.hash.clone());
            round.batch.contents.push(old.clone());
        }
        round.batch.contents.push(content);
        round.batch.derived.push(self.import_record(number)?);
        round.tanks.insert(placed.belongs.tank.clone());
        let path = names::shown(&one.entry.path);
        round.put_away.push((one.entry, Shelf::Taken, None));
        let Taken {
            importer,
            rows,
            assumed,
            problems,
        } = what;
        let what = What::Taken {
            tank: placed.belongs.tank,
            surveys,
            mounted: placed.belongs.mounted,
            importer,
            rows,
            assumed,
            problems,
        };
        round.outcomes.push(Outcome { path, what });
        Ok(())
    }

    /// Keeps beside a content's bytes that it came, and the note that came with it; the note is put into the
    /// round.
    pub(super) fn keep_arrival(
        &self,
        round: &mut Round,
        content: &Content,
        note: Option<(Option<Entry>, String)>,
    ) -> Result<(), EngineError> {
        let happening = Happening::Arrived {
            path: content.path.clone(),
            mtime_us: content.mtime_us,
            bytes: content.bytes,
        };
        self.keep(&Record {
            arrival: content.arrival,
            hash: content.hash.clone(),
            happening,
        })?;
        round.next_arrival += 1;
        let Some((entry, text)) = note else { return Ok(()) };
        let arrival = round.next_arrival;
        round.next_arrival += 1;
        let happening = Happening::Note {
            path: names::note_of_file(&content.path),
            text: text.clone(),
        };
        self.keep(&Record {
            arrival,
            hash: content.hash.clone(),
            happening,
        })?;
        let (path, hash) = (content.path.clone(), content.hash.clone());
        round.batch.notes.push(StoredNote {
            arrival,
            path,
            content: Some(hash),
            text,
            state: NoteState::Attached,
        });
        round
            .put_away
            .extend(entry.map(|entry| (entry, Shelf::Taken, None)));
        Ok(())
    }

    fn say_what_the_sandbox_lacks(&mut self, read: &Read) {
        if let Some(lacks) = &read.lacks
            && self.sandbox_lacks.is_none()
        {
            tracing::warn!(lacks, "importers run without part of their sandbox");
            self.sandbox_lacks = Some(lacks.clone());
        }
    }

    /// The content from the same inbox path whose bytes this one begins with: a logger that appends.
    pub(super) fn replaced_by(&self, content: &Content) -> Result<Option<usize>, EngineError> {
        let last = self.held.iter().rposition(|held| {
            held.content.path == content.path && held.content.state != ContentState::Withdrawn
        });
        let Some(last) = last else { return Ok(None) };
        let old = &self.held[last].content;
        if old.state != ContentState::Taken {
            return Ok(None);
        }
        Ok(begins_with(&self.raw(), content, old)?.then_some(last))
    }

    pub(super) fn keep(&self, what: &Record) -> Result<(), EngineError> {
        record(&self.raw(), what).map_err(|error| EngineError::state(&self.raw(), &error))
    }
}

/// What the importer assumed, in a keeper's words.
fn assumed(read: &Read) -> Vec<String> {
    let facts = read.imported.facts.iter().filter(|(_, _, assumed)| *assumed);
    facts.map(|(key, value, _)| format!("{key} = {value}")).collect()
}
