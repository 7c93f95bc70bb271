//! One round of taking in: some ready files, from the inbox to their surveys.

use super::arrive::{Read, Reading, Refusal, ask_kernel};
use super::{Cancel, Engine, EngineError, Outcome, UNSURE_SETTLE, What};
use std::collections::BTreeSet;
use std::num::NonZero;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use undim_config::{Note, Site, description_part};
use undim_intake::listing::Entry;
use undim_intake::names;
use undim_intake::spool::{ArchiveError, ArchiveOptions, Archived, NotYet, Shelf, archive};
use undim_store::{Batch, Content, ContentState};

/// Files of one round. More wait for the next, in the order of their names.
const ROUND: usize = 32;

/// A file on its way through a round.
pub(super) struct Coming {
    pub(super) entry: Entry,
    /// The file's note, where one lies beside it.
    pub(super) note: Option<(Option<Entry>, String, Note)>,
    /// A description beside it that goes with it.
    pub(super) also: Vec<Entry>,
    pub(super) archived: Option<Archived>,
}

/// What a round has done so far.
#[derive(Default)]
pub(super) struct Round {
    pub(super) batch: Batch,
    /// Tanks whose surveys changed.
    pub(super) tanks: BTreeSet<String>,
    /// Files to put away once everything is in the ledger: which, where to, and why.
    pub(super) put_away: Vec<(Entry, Shelf, Option<String>)>,
    /// Outcomes to tell once everything is in the ledger.
    pub(super) outcomes: Vec<Outcome>,
    pub(super) next_arrival: u64,
}

impl Engine {
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
        // Surveys and ids rest on all that came before: what could not be read a moment ago is tried again.
        if self.incomplete
            && let Err(error) = self.derive_all()
        {
            self.trouble(error.to_string());
        }
        if let Err(error) = self.work_on(entries.clone(), now) {
            for entry in &entries {
                self.hold_back(entry, now);
            }
            if !matches!(error, EngineError::Cancelled) {
                self.trouble(error.to_string());
                self.outcomes.extend(entries.iter().map(waits_for_mending));
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
            } else if names::is_beside(&entry.path) {
                self.take_description_alone(&mut round, &entry, now)?;
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
            match self.upkeep_in(&archived.hash, &one.entry.path, &note) {
                Ok(None) => to_read.push((self.importing().reading_of(&one.entry.path, &note), one)),
                Ok(Some(lines)) => match self.upkeep_twin(&archived.hash) {
                    Some(twin) => self.take_copy(&mut round, one, &twin)?,
                    None => self.enter_upkeep(&mut round, one, lines, now)?,
                },
                Err(refusal) => self.refuse(&mut round, &one, refusal, now),
            }
        }
        let read = self.read_all(&to_read);
        for ((reading, one), read) in to_read.into_iter().zip(read) {
            if self.cancel.asked() {
                return Err(EngineError::Cancelled);
            }
            let read = read.unwrap_or_else(|| Err(Refusal::Later("it was not read".to_owned())));
            let hash = one.archived.as_ref().map(|archived| archived.hash.as_str());
            let twin = self
                .held
                .iter()
                .find(|held| Some(held.content.hash.as_str()) == hash);
            if let Some(twin) = twin.map(|held| held.content.clone()) {
                // The same content twice in one round.
                self.take_copy(&mut round, one, &twin)?;
                continue;
            }
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
                    round.outcomes.push(waits_for_mending(&one.entry));
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
                withdrawn: (known.state == ContentState::Withdrawn)
                    .then(|| names::harmless(known.why.as_deref().unwrap_or_default())),
            },
        });
        let also = one.also.into_iter();
        round
            .put_away
            .extend(also.map(|entry| (entry, Shelf::Taken, None)));
        if let Some((entry, text, note)) = one.note {
            let is_note = |entry: &Entry| names::file_of_note(&entry.path).is_some();
            if entry.as_ref().is_some_and(is_note) {
                self.renote(round, &known.hash, entry, text, note)?;
            } else {
                self.redescribe(round, &known.hash, entry, description_part(&text))?;
            }
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

    pub(super) fn trouble(&mut self, text: impl Into<String>) {
        let text = names::harmless(&text.into());
        tracing::error!("{text}");
        if !self.troubles.contains(&text) {
            self.troubles.push(text);
        }
    }
}

pub(super) fn archive_options<'a>(
    site: &Site,
    cancel: &'a Cancel,
    take_if_unsure: bool,
) -> ArchiveOptions<'a> {
    ArchiveOptions {
        max_file: site.intake.max_file,
        cancel: cancel.flag(),
        ask: ask_kernel,
        take_if_unsure,
    }
}

/// What is told of a file where outbox or state could not be used; the trouble itself is told once.
pub(super) fn waits_for_mending(entry: &Entry) -> Outcome {
    Outcome {
        path: names::shown(&entry.path),
        what: What::HeldBack {
            why: "nothing could be written for it; it is taken in once the trouble is mended".to_owned(),
        },
    }
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
        What::Known {
            first,
            withdrawn: None,
        } => tracing::info!(
            file,
            first,
            "the same content was taken in already; nothing changes"
        ),
        What::Known {
            first,
            withdrawn: Some(why),
        } => tracing::warn!(file, first, why, "the same content was withdrawn; it stays so"),
        What::SetAside { why, .. } => tracing::warn!(file, why, "set aside"),
        What::HeldBack { why } => tracing::warn!(file, why, "left in the inbox"),
        What::Upkeep {
            tank, lines, added, ..
        } => {
            tracing::info!(file, tank, lines, added, "upkeep taken in");
        }
        What::Noted {
            file: of, surveys, ..
        } => tracing::info!(file, of, survey = surveys.join(" "), "note taken in"),
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
