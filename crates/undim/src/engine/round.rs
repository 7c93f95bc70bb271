//! One round of taking in: some ready files, from the inbox to their surveys.

use super::arrive::{Read, Reading, Refusal, ask_kernel, begins_with};
use super::content::{Held, place};
use super::{Cancel, Engine, EngineError, Outcome, UNSURE_SETTLE, What};
use std::collections::BTreeSet;
use std::num::NonZero;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use undim_config::{After, Note, Site, parse_note};
use undim_intake::listing::Entry;
use undim_intake::names;
use undim_intake::spool::{
    ArchiveError, ArchiveOptions, Archived, Happening, NotYet, PutAwayError, Record, Shelf, archive, delete,
    put_away, read_small, record, write_why,
};
use undim_store::{Batch, Content, ContentState, Note as StoredNote, NoteState};
use undim_survey::Arrival;

/// Files of one round. More wait for the next, in the order of their names.
const ROUND: usize = 32;
/// A note is text typed by hand.
const LARGEST_NOTE: u64 = 1 << 20;

/// A file on its way through a round.
struct Coming {
    entry: Entry,
    /// The file's note, where one lies beside it.
    note: Option<(Entry, String, Note)>,
    archived: Option<Archived>,
}

/// What a round has done so far.
#[derive(Default)]
pub(super) struct Round {
    pub(super) batch: Batch,
    /// Tanks whose surveys changed.
    pub(super) tanks: BTreeSet<String>,
    /// Files to put away once everything is in the ledger: which, where to, and why.
    put_away: Vec<(Entry, Shelf, Option<String>)>,
    /// Outcomes to tell once everything is in the ledger.
    outcomes: Vec<Outcome>,
    next_arrival: u64,
}

impl Engine {
    /// Sorts notes out of the ready files: a note goes with its file. Gives how many notes wait for a file.
    pub(super) fn sort_out_notes(&mut self) -> usize {
        let mut waiting = 0;
        let listed: BTreeSet<&[u8]> = self
            .listing
            .entries
            .iter()
            .map(|entry| entry.path.as_slice())
            .collect();
        let mut ready = std::mem::take(&mut self.ready);
        ready.retain(|entry| match names::file_of_note(&entry.path) {
            None => true,
            Some(file) if listed.contains(file) => false,
            Some(file) => match self.store.last_at_path(file) {
                Ok(Some(content)) => matches!(content.state, ContentState::Taken | ContentState::Superseded),
                _ => {
                    waiting += 1;
                    false
                }
            },
        });
        self.ready = ready;
        waiting
    }

    /// Takes in some ready files; gives how many are left. Failures of outbox or state are kept for the end.
    pub(crate) fn take_in_round(&mut self) -> usize {
        let now = self.now();
        let count = self.ready.len().min(ROUND);
        let entries: Vec<Entry> = self.ready.drain(..count).collect();
        self.findings = self.finder.find(&self.worker, self.cancel.flag());
        if !self.once {
            self.outcomes.clear();
            self.troubles.clear();
        }
        if let Err(error) = self.work_on(entries.clone(), now) {
            entries.iter().for_each(|entry| self.hold_back(entry, now));
            if !matches!(error, EngineError::Cancelled) {
                tracing::error!(%error, "this round was not finished");
                self.trouble(error.to_string());
            }
            // What was begun in memory is not in the ledger: start again from what is.
            self.ready.clear();
            if let Err(error) = self.load_held() {
                tracing::error!(%error, "the ledger can't be read");
                self.trouble(error.to_string());
            }
        }
        if self.cancel.asked() {
            self.ready.clear();
        }
        self.write_status();
        self.ready.len()
    }

    fn work_on(&mut self, entries: Vec<Entry>, now: Duration) -> Result<(), EngineError> {
        let mut round = Round {
            next_arrival: self.store.next_arrival()?,
            ..Round::default()
        };
        let mut coming = Vec::new();
        for entry in entries {
            if names::file_of_note(&entry.path).is_some() {
                self.take_note_alone(&mut round, entry, now)?;
            } else if let Some(one) = self.with_its_note(&mut round, entry, now) {
                coming.push(one);
            }
        }
        self.archive_all(&mut round, &mut coming, now);
        let mut to_read = Vec::new();
        for one in coming {
            let Some(archived) = &one.archived else { continue };
            if let Some(known) = self.known_content(&archived.hash)? {
                self.take_copy(&mut round, one, &known)?;
                continue;
            }
            let note = one
                .note
                .as_ref()
                .map(|(_, _, note)| note.clone())
                .unwrap_or_default();
            to_read.push((self.importing().reading_of(&one.entry.path, &note), one));
        }
        let read = self.read_all(&to_read);
        for ((reading, one), read) in to_read.into_iter().zip(read) {
            if self.cancel.asked() {
                return Err(EngineError::Cancelled);
            }
            let read = read.unwrap_or_else(|| Err(Refusal::Later("it was not read".to_owned())));
            match (reading, read) {
                (Ok(reading), Ok(read)) => self.enter(&mut round, one, &reading, read, now)?,
                (Err(refusal), _) | (_, Err(refusal)) => self.refuse(&mut round, &one, refusal, now),
            }
        }
        self.finish(round)
    }

    /// Publishes what changed, writes everything into the ledger at once, then puts the files away.
    fn finish(&mut self, mut round: Round) -> Result<(), EngineError> {
        self.publish(&mut round)?;
        self.store.commit(&round.batch)?;
        for (entry, shelf, why) in std::mem::take(&mut round.put_away) {
            self.put_away(&entry, shelf, why.as_deref(), &mut round);
        }
        for outcome in round.outcomes {
            log(&outcome);
            self.outcomes.push(outcome);
        }
        Ok(())
    }

    /// A file with the note that lies beside it; nothing where the note can't be read.
    fn with_its_note(&mut self, round: &mut Round, entry: Entry, now: Duration) -> Option<Coming> {
        let path = names::note_of_file(&entry.path);
        let Some(note) = self
            .listing
            .entries
            .iter()
            .find(|other| other.path == path)
            .cloned()
        else {
            return Some(Coming {
                entry,
                note: None,
                archived: None,
            });
        };
        match self.read_note(&note) {
            Ok((text, parsed)) => Some(Coming {
                entry,
                note: Some((note, text, parsed)),
                archived: None,
            }),
            Err(why) => {
                let (file, named) = (names::shown(&entry.path), names::shown(&note.path));
                self.hold_back(&entry, now);
                let what = What::HeldBack {
                    why: format!("its note {named} can't be read: {why}"),
                };
                round.outcomes.push(Outcome { path: file, what });
                None
            }
        }
    }

    fn read_note(&self, entry: &Entry) -> Result<(String, Note), String> {
        let options = ArchiveOptions {
            max_file: LARGEST_NOTE,
            ..archive_options(&self.site, &self.cancel, false)
        };
        let bytes = read_small(&self.site.inbox, entry, &options).map_err(|error| error.to_string())?;
        let note = parse_note(&bytes, names::shown(&entry.path)).map_err(|mistakes| {
            let told = mistakes
                .iter()
                .map(|m| format!("line {}, column {}: {}", m.line, m.column, m.text));
            told.collect::<Vec<_>>().join("; ")
        })?;
        Ok((String::from_utf8_lossy(&bytes).into_owned(), note))
    }

    fn archive_all(&mut self, round: &mut Round, coming: &mut [Coming], now: Duration) {
        let raw = self.raw();
        let (settler, site, cancel) = (&self.settler, &self.site, &self.cancel);
        let results = in_parallel(coming, |one| {
            let still = settler.still_for(&one.entry.path, now).unwrap_or_default();
            archive(
                &site.inbox,
                &one.entry,
                &raw,
                &archive_options(site, cancel, still >= UNSURE_SETTLE),
            )
        });
        for (one, result) in coming.iter_mut().zip(results) {
            let shown = names::shown(&one.entry.path);
            match result {
                Some(Ok(archived)) => one.archived = Some(archived),
                Some(Err(ArchiveError::NotYet(NotYet::Unsure))) => self.hold(&one.entry, UNSURE_SETTLE, now),
                Some(Err(ArchiveError::NotYet(_))) => self.hold(&one.entry, Duration::from_millis(200), now),
                Some(Err(error @ ArchiveError::TooLarge { .. })) => {
                    let why = error.to_string();
                    round
                        .put_away
                        .push((one.entry.clone(), Shelf::SetAside, Some(why.clone())));
                    let what = What::SetAside {
                        why,
                        choices: Vec::new(),
                        moved_to: String::new(),
                    };
                    round.outcomes.push(Outcome { path: shown, what });
                }
                Some(Err(ArchiveError::Cancelled)) | None => {}
                Some(Err(ArchiveError::Unreadable(error))) => {
                    self.hold_back(&one.entry, now);
                    let what = What::HeldBack {
                        why: format!("it can't be read: {error}"),
                    };
                    round.outcomes.push(Outcome { path: shown, what });
                }
                Some(Err(error @ ArchiveError::Archive { .. })) => {
                    self.hold_back(&one.entry, now);
                    self.trouble(error.to_string());
                }
            }
        }
    }

    /// The content, where it counts already: dropping it again changes nothing.
    fn known_content(&self, hash: &str) -> Result<Option<Content>, EngineError> {
        let known = self.store.by_hash(hash)?;
        Ok(known.filter(|content| {
            matches!(
                content.state,
                ContentState::Taken | ContentState::Superseded | ContentState::Withdrawn
            )
        }))
    }

    fn take_copy(&mut self, round: &mut Round, one: Coming, known: &Content) -> Result<(), EngineError> {
        let path = names::shown(&one.entry.path);
        round.put_away.push((one.entry, Shelf::Taken, None));
        round.outcomes.push(Outcome {
            path,
            what: What::Known {
                first: known.shown.clone(),
            },
        });
        if let Some((entry, text, note)) = one.note {
            self.renote(round, &known.hash, entry, text, note)?;
        }
        Ok(())
    }

    /// A note alone belongs to the last content from its path, in place of the note that it had.
    fn take_note_alone(&mut self, round: &mut Round, entry: Entry, now: Duration) -> Result<(), EngineError> {
        let Some(file) = names::file_of_note(&entry.path) else {
            return Ok(());
        };
        let Some(content) = self.store.last_at_path(file)? else {
            return Ok(());
        };
        match self.read_note(&entry) {
            Ok((text, note)) => self.renote(round, &content.hash, entry, text, note),
            Err(why) => {
                self.hold_back(&entry, now);
                let path = names::shown(&entry.path);
                round.outcomes.push(Outcome {
                    path,
                    what: What::HeldBack { why },
                });
                Ok(())
            }
        }
    }

    fn renote(
        &mut self,
        round: &mut Round,
        hash: &str,
        entry: Entry,
        text: String,
        note: Note,
    ) -> Result<(), EngineError> {
        let path = names::shown(&entry.path);
        let Some(number) = self.held.iter().position(|held| held.content.hash == hash) else {
            return Ok(());
        };
        let file = self.held[number].content.shown.clone();
        round.put_away.push((entry.clone(), Shelf::Taken, None));
        round.outcomes.push(Outcome {
            path,
            what: What::Noted { file },
        });
        if self.held[number]
            .notes
            .last()
            .is_some_and(|(_, last, _)| *last == text)
        {
            return Ok(());
        }
        let before = self.held[number].clone();
        let arrival = round.next_arrival;
        self.held[number].notes.push((arrival, text.clone(), note));
        let placed = self.place_again(number);
        let placed = match placed {
            Ok(placed) => placed,
            Err(why) => {
                self.held[number] = before;
                if let Some(last) = round.put_away.last_mut() {
                    *last = (entry, Shelf::SetAside, Some(why));
                }
                return Ok(());
            }
        };
        round.next_arrival += 1;
        round.tanks.insert(before.placed.belongs.tank.clone());
        round.tanks.insert(placed.belongs.tank.clone());
        self.book.enter(&Arrival::Renoted {
            content: number,
            placement: placed.placement(),
        });
        self.held[number].placed = placed;
        self.keep(&Record {
            arrival,
            hash: hash.to_owned(),
            happening: Happening::Note {
                path: names::note_of_file(&before.content.path),
                text: text.clone(),
            },
        })?;
        round.batch.notes.push(StoredNote {
            arrival,
            path: before.content.path.clone(),
            content: Some(hash.to_owned()),
            text,
            state: NoteState::Attached,
        });
        if let Some((old, text, _)) = before.notes.last() {
            round.batch.notes.push(StoredNote {
                arrival: *old,
                path: before.content.path.clone(),
                content: Some(hash.to_owned()),
                text: text.clone(),
                state: NoteState::Replaced,
            });
        }
        Ok(())
    }

    fn read_all(&self, to_read: &[(Result<Reading, Refusal>, Coming)]) -> Vec<Option<Result<Read, Refusal>>> {
        let (importing, progress) = (self.importing(), self.progress.as_ref());
        in_parallel(to_read, |(reading, one)| {
            if let Some(progress) = progress {
                progress(&names::shown(&one.entry.path));
            }
            match (reading, &one.archived) {
                (Ok(reading), Some(archived)) => importing.read(&archived.hash, &one.entry.path, reading),
                (Err(refusal), _) => Err(refusal.clone()),
                (_, None) => Err(Refusal::Later("it was not archived".to_owned())),
            }
        })
    }

    /// Enters a content that was read: its surveys must come out of it, or it is set aside.
    fn enter(
        &mut self,
        round: &mut Round,
        one: Coming,
        reading: &Reading,
        read: Read,
        now: Duration,
    ) -> Result<(), EngineError> {
        let Some(archived) = &one.archived else {
            return Ok(());
        };
        if let Some(lacks) = &read.lacks
            && self.sandbox_lacks.is_none()
        {
            tracing::warn!(lacks, "importers run without part of their sandbox");
            self.sandbox_lacks = Some(lacks.clone());
        }
        let arrival = round.next_arrival;
        let mut content = Content {
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
        let placed = match place(
            &self.site,
            &self.zone,
            &content,
            &note,
            &read.imported,
            &read.rows,
        ) {
            Ok(placed) => placed,
            Err(why) => {
                self.refuse(round, &one, Refusal::set_aside(why), now);
                return Ok(());
            }
        };
        let replaces = self.replaced_by(&content)?;
        let number = self.held.len();
        let tank = placed.belongs.tank.clone();
        if let Some(other) = self.other_tank_name(&placed.belongs) {
            self.refuse(round, &one, Refusal::set_aside(other), now);
            return Ok(());
        }
        let arrived = Arrival::Came {
            content: number,
            placement: placed.placement(),
            replaces,
        };
        let assumed = assumed(&read);
        let problems = read.imported.problems.len() as u64 + read.imported.more_problems;
        let (importer, rows) = (read.imported.importer.clone(), read.imported.rows);
        self.held.push(Held {
            content: content.clone(),
            notes,
            imported: read.imported,
            key: read.key,
            replaces,
            placed,
            rows: read.rows,
        });
        let entered = self.try_enter(&arrived, number);
        let surveys = match entered {
            Ok(surveys) => surveys,
            Err(EngineError::TakeIn(error)) => {
                self.held.pop();
                self.refuse(round, &one, Refusal::set_aside(error.to_string()), now);
                return Ok(());
            }
            Err(error) => return Err(error),
        };
        self.keep(&Record {
            arrival,
            hash: content.hash.clone(),
            happening: Happening::Arrived {
                path: content.path.clone(),
                mtime_us: content.mtime_us,
                bytes: content.bytes,
            },
        })?;
        round.next_arrival += 1;
        if let Some((entry, text, _)) = one.note {
            let arrival = round.next_arrival;
            round.next_arrival += 1;
            let happening = Happening::Note {
                path: entry.path.clone(),
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
            round.put_away.push((entry, Shelf::Taken, None));
        }
        if let Some(old) = replaces {
            let old = &mut self.held[old].content;
            old.state = ContentState::Superseded;
            old.superseded_by = Some(content.hash.clone());
            round.batch.contents.push(old.clone());
        }
        content.state = ContentState::Taken;
        round.batch.contents.push(content);
        round.batch.derived.push(self.import_record(number)?);
        round.tanks.insert(tank.clone());
        round.put_away.push((one.entry.clone(), Shelf::Taken, None));
        let what = What::Taken {
            tank,
            surveys,
            importer,
            rows,
            assumed,
            problems,
        };
        round.outcomes.push(Outcome {
            path: names::shown(&one.entry.path),
            what,
        });
        Ok(())
    }

    /// The content from the same inbox path whose bytes this one begins with: a logger that appends.
    fn replaced_by(&self, content: &Content) -> Result<Option<usize>, EngineError> {
        let last = self
            .held
            .iter()
            .rposition(|held| held.content.path == content.path);
        let Some(last) = last else { return Ok(None) };
        let old = &self.held[last].content;
        if old.state != ContentState::Taken {
            return Ok(None);
        }
        Ok(begins_with(&self.raw(), content, old)?.then_some(last))
    }

    fn refuse(&mut self, round: &mut Round, one: &Coming, refusal: Refusal, now: Duration) {
        let path = names::shown(&one.entry.path);
        match refusal {
            Refusal::Later(why) => {
                self.hold_back(&one.entry, now);
                round.outcomes.push(Outcome {
                    path,
                    what: What::HeldBack { why },
                });
            }
            Refusal::SetAside { why, choices } => {
                if let Some(archived) = &one.archived {
                    let arrival = round.next_arrival;
                    round.next_arrival += 1;
                    round.batch.contents.push(Content {
                        hash: archived.hash.clone(),
                        arrival,
                        path: one.entry.path.clone(),
                        shown: path.clone(),
                        bytes: archived.bytes,
                        mtime_us: archived.mtime_us,
                        state: ContentState::SetAside,
                        superseded_by: None,
                        why: Some(why.clone()),
                        importer: None,
                        importer_version: None,
                        options_fingerprint: None,
                        rows: None,
                        put_away_path: None,
                    });
                }
                let text = why_text(&path, &why, &choices);
                round
                    .put_away
                    .push((one.entry.clone(), Shelf::SetAside, Some(text)));
                if let Some((note, _, _)) = &one.note {
                    round.put_away.push((note.clone(), Shelf::SetAside, None));
                }
                round.outcomes.push(Outcome {
                    path,
                    what: What::SetAside {
                        why,
                        choices,
                        moved_to: String::new(),
                    },
                });
            }
        }
    }

    fn put_away(&mut self, entry: &Entry, shelf: Shelf, why: Option<&str>, round: &mut Round) {
        let inbox = self.site.inbox.clone();
        let stays = shelf == Shelf::Taken && self.site.intake.after == After::Keep;
        if stays {
            self.known.insert(entry.stamp);
            return;
        }
        let moved = if shelf == Shelf::Taken && self.site.intake.after == After::Delete {
            delete(&inbox, &entry.path, entry.stamp).map(|()| None)
        } else {
            put_away(&inbox, &entry.path, entry.stamp, shelf).map(Some)
        };
        match moved {
            Ok(moved) => {
                if let (Some(moved), Some(why)) = (&moved, why)
                    && let Err(error) = write_why(&inbox, moved, &entry.path, why)
                {
                    self.trouble(format!(
                        "the reason for {} could not be written: {error}",
                        names::shown(moved)
                    ));
                }
                let path = names::shown(&entry.path);
                for outcome in round.outcomes.iter_mut().filter(|outcome| outcome.path == path) {
                    if let (What::SetAside { moved_to, .. }, Some(moved)) = (&mut outcome.what, &moved) {
                        *moved_to = names::shown(moved);
                    }
                }
            }
            // The newer file is looked at next; the one that was read lies in the archive.
            Err(PutAwayError::Vanished | PutAwayError::Replaced) => {}
            Err(error @ PutAwayError::Unusable { .. }) => {
                self.known.insert(entry.stamp);
                self.trouble(error.to_string());
            }
        }
    }

    fn keep(&self, what: &Record) -> Result<(), EngineError> {
        record(&self.raw(), what).map_err(|error| EngineError::state(&self.raw(), &error))
    }

    pub(super) fn trouble(&mut self, text: String) {
        tracing::error!("{text}");
        if !self.troubles.contains(&text) {
            self.troubles.push(text);
        }
    }
}

fn archive_options<'a>(site: &Site, cancel: &'a Cancel, take_if_unsure: bool) -> ArchiveOptions<'a> {
    ArchiveOptions {
        max_file: site.intake.max_file,
        cancel: cancel.flag(),
        ask: ask_kernel,
        take_if_unsure,
    }
}

/// What the importer assumed, in a keeper's words.
fn assumed(read: &Read) -> Vec<String> {
    let facts = read.imported.facts.iter().filter(|(_, _, assumed)| *assumed);
    facts.map(|(key, value, _)| format!("{key} = {value}")).collect()
}

/// The text of a `.why.txt`.
fn why_text(path: &str, why: &str, choices: &[String]) -> String {
    let mut text = format!("{path} was set aside.\n\n{why}\n");
    if !choices.is_empty() {
        text.push_str("\nWhich is it?\n");
        for choice in choices {
            text.push_str(&format!("  - {choice}\n"));
        }
    }
    text.push_str(
        "\nMend the file, or say how to read it in a layout or a note, then drop it into the inbox again.\nNothing is lost: its bytes are kept in the raw archive too.\n",
    );
    text
}

/// Every file gets exactly one line in the log.
fn log(outcome: &Outcome) {
    let file = &outcome.path;
    match &outcome.what {
        What::Taken {
            surveys,
            rows,
            importer,
            ..
        } => {
            tracing::info!(file, survey = surveys.join(" "), rows, importer, "taken in");
        }
        What::Known { first } => tracing::info!(
            file,
            first,
            "the same content was taken in already; nothing changes"
        ),
        What::SetAside { why, .. } => tracing::warn!(file, why, "set aside"),
        What::HeldBack { why } => tracing::warn!(file, why, "left in the inbox"),
        What::Noted { file: of } => tracing::info!(file, of, "note taken in"),
    }
}

/// Works on several things at once, at most as many as there are cores; `None` where the work did not end.
fn in_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<Option<R>> {
    let workers = std::thread::available_parallelism()
        .map_or(1, NonZero::get)
        .min(items.len());
    if workers <= 1 {
        return items.iter().map(|item| Some(work(item))).collect();
    }
    let next = AtomicUsize::new(0);
    let results: Mutex<Vec<Option<R>>> = Mutex::new(items.iter().map(|_| None).collect());
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some((number, item)) = {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    items.get(number).map(|item| (number, item))
                } {
                    let result = work(item);
                    if let Ok(mut results) = results.lock() {
                        results[number] = Some(result);
                    }
                }
            });
        }
    });
    results.into_inner().unwrap_or_default()
}
