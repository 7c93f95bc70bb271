//! From contents to surveys: the ledger's contents in memory, the book of surveys, and take-in.

use super::arrive::{Refusal, fingerprint};
use super::content::{Held, Imported, Placed, Unfit, place};
use super::context::Belongs;
use super::package::VERSION;
use super::publish::Derivation;
use super::rows::CachedRows;
use super::{Engine, EngineError};
use std::collections::BTreeMap;
use std::sync::Arc;
use undim_config::{Note, parse_note};
use undim_model::{Survey, Tank, Text, WithdrawnFile};
use undim_store::{Content, ContentState, Decision, Derived, Withdrawal};
use undim_survey::{Arrival, Book, Entry, Placement, SiteView, Source, TakeInError, TakenIn, take_in};

/// The kind under which importers' answers stand in the ledger.
const IMPORT: &str = "import";

impl Engine {
    /// Loads what the ledger holds and enters it into a new book, in order of arrival.
    pub(super) fn load_held(&mut self) -> Result<(), EngineError> {
        self.held.clear();
        self.upkeep.clear();
        self.fresh.clear();
        self.incomplete = false;
        self.surveys.clear();
        let mut notes: BTreeMap<String, Vec<(u64, String, Note)>> = BTreeMap::new();
        for note in self.store.notes()? {
            let Some(hash) = note.content else { continue };
            // A note that could be read when it came can be read again, unless the program has changed.
            let parsed = parse_note(note.text.as_bytes(), "note").unwrap_or_default();
            notes
                .entry(hash)
                .or_default()
                .push((note.arrival, note.text, parsed));
        }
        let mut arrivals: Vec<(u64, Arrival)> = Vec::new();
        for content in self.store.all_in_order()? {
            let counts = [
                ContentState::Taken,
                ContentState::Superseded,
                ContentState::Withdrawn,
            ];
            if !counts.contains(&content.state) {
                continue;
            }
            let of_this = notes.remove(&content.hash).unwrap_or_default();
            let held = match self.hold_upkeep(&content, &of_this) {
                Ok(true) => Ok(()),
                Ok(false) => self.hold_content(content, of_this, &mut arrivals),
                Err(why) => Err(why),
            };
            if let Err(why) = held {
                self.incomplete = true;
                self.trouble(why);
            }
        }
        let withdrawals = self.store.withdrawals()?;
        self.relate_replaced(&mut arrivals, &withdrawals);
        self.relate_withdrawn(&mut arrivals, withdrawals);
        arrivals.sort_by_key(|(arrival, _)| *arrival);
        self.book = Book::new(self.zone.clone());
        for (_, arrival) in &arrivals {
            self.book.enter(arrival);
        }
        for tank in self.store.tanks()? {
            for stored in self.store.surveys(&tank)? {
                let key = (tank.clone(), stored.survey.id.clone());
                self.surveys
                    .insert(key, (stored.fingerprint, Arc::new(stored.survey)));
            }
        }
        Ok(())
    }

    /// Takes a content of the ledger into memory, its rows read again where they are missing.
    fn hold_content(
        &mut self,
        content: Content,
        notes: Vec<(u64, String, Note)>,
        arrivals: &mut Vec<(u64, Arrival)>,
    ) -> Result<(), String> {
        let at_arrival = |(arrival, _, _): &&(u64, String, Note)| *arrival == content.arrival + 1;
        let came_with = notes
            .iter()
            .find(at_arrival)
            .map(|(_, _, note)| note.clone())
            .unwrap_or_default();
        let last = notes.last().map(|(_, _, note)| note.clone()).unwrap_or_default();
        let failed = |why: Unfit| format!("{} can't be derived again: {why}", content.shown);
        let (imported, rows, key) = self.imported(&content, &last).map_err(failed)?;
        let number = self.held.len();
        let placed_under = |note: &Note| place(&self.site, &self.zone, &content, note, &imported, &rows);
        let first = placed_under(&came_with).map_err(failed)?;
        arrivals.push((
            content.arrival,
            Arrival::Came {
                content: number,
                placement: first.placement(),
                replaces: None,
            },
        ));
        let mut placed = first;
        for (arrival, _, note) in notes
            .iter()
            .filter(|(arrival, _, _)| *arrival != content.arrival + 1)
        {
            placed = placed_under(note).map_err(failed)?;
            arrivals.push((
                *arrival,
                Arrival::Renoted {
                    content: number,
                    placement: placed.placement(),
                },
            ));
        }
        self.held.push(Held {
            content,
            notes,
            imported,
            key,
            replaces: None,
            withdrawn: None,
            placed,
            rows,
        });
        Ok(())
    }

    /// Names the content that each longer one replaced when it came. Where it was withdrawn since, its first
    /// withdrawal tells; else the ledger's rows do.
    fn relate_replaced(&mut self, arrivals: &mut [(u64, Arrival)], withdrawals: &[Withdrawal]) {
        let by_hash = self.numbers_by_hash();
        let mut first: BTreeMap<&str, Option<&str>> = BTreeMap::new();
        for withdrawal in withdrawals {
            first
                .entry(&withdrawal.content)
                .or_insert(withdrawal.other.as_deref());
        }
        let told = first
            .iter()
            .filter_map(|(new, old)| Some((*by_hash.get(*new)?, *by_hash.get((*old)?)?)));
        let stored = self.held.iter().enumerate().filter_map(|(old, held)| {
            let new = held.content.superseded_by.as_deref()?;
            (!first.contains_key(new)).then_some((*by_hash.get(new)?, old))
        });
        let pairs: Vec<(usize, usize)> = told.chain(stored).collect();
        for (new, old) in pairs {
            self.held[new].replaces = Some(old);
            for (_, arrival) in arrivals.iter_mut() {
                if let Arrival::Came {
                    content, replaces, ..
                } = arrival
                    && *content == new
                {
                    *replaces = Some(old);
                }
            }
        }
    }

    fn numbers_by_hash(&self) -> BTreeMap<String, usize> {
        let numbered = self.held.iter().enumerate();
        numbered
            .map(|(number, held)| (held.content.hash.clone(), number))
            .collect()
    }

    /// Adds what was withdrawn and reinstated, each at its own place in the order of arrival.
    fn relate_withdrawn(&mut self, arrivals: &mut Vec<(u64, Arrival)>, withdrawals: Vec<Withdrawal>) {
        let by_hash = self.numbers_by_hash();
        let mut added = Vec::new();
        for withdrawal in withdrawals {
            let Some(&content) = by_hash.get(&withdrawal.content) else {
                continue;
            };
            let other = withdrawal
                .other
                .as_ref()
                .and_then(|other| by_hash.get(other))
                .copied();
            let at = withdrawal.arrival;
            let arrival = match withdrawal.what {
                Decision::Withdrawn => {
                    self.held[content].withdrawn = Some(withdrawal);
                    let brings_back = other.and_then(|old| Some((old, placement_before(arrivals, old, at)?)));
                    Arrival::Withdrawn { content, brings_back }
                }
                Decision::Reinstated => {
                    self.held[content].withdrawn = None;
                    let Some(placement) = placement_before(arrivals, content, at) else {
                        continue;
                    };
                    Arrival::Reinstated {
                        content,
                        placement,
                        replaces: other,
                    }
                }
            };
            added.push((at, arrival));
        }
        arrivals.append(&mut added);
    }

    /// What an importer made of a content: as kept, or read again.
    fn imported(&self, content: &Content, note: &Note) -> Result<(Imported, CachedRows, String), Unfit> {
        let told = |refusal: Refusal| match refusal {
            Refusal::SetAside { why, .. } => Unfit::Refused(why),
            Refusal::Later(error) | Refusal::Failed(error) => Unfit::Failed(EngineError::State {
                path: content.shown.clone(),
                error,
            }),
        };
        let reading = self.importing().reading_of(&content.path, note).map_err(told)?;
        let key = fingerprint(&[&content.hash, &reading.fingerprint]);
        let kept = self
            .store
            .derived(IMPORT, "", &content.hash)
            .ok()
            .flatten()
            .filter(|kept| kept.fingerprint == key);
        let rows = CachedRows::at(&self.site.state, &content.hash, &key);
        if let Some(imported) = kept.and_then(|kept| serde_json::from_str(&kept.body).ok())
            && rows.is_whole()
        {
            return Ok((imported, rows, key));
        }
        let read = self
            .importing()
            .read(&content.hash, &content.path, &reading)
            .map_err(told)?;
        Ok((read.imported, read.rows, read.key))
    }

    /// The ledger's record of what an importer made of a content.
    pub(super) fn import_record(&self, number: usize) -> Result<Derived, EngineError> {
        let held = &self.held[number];
        let body = serde_json::to_string(&held.imported).map_err(|error| EngineError::State {
            path: held.content.shown.clone(),
            error: error.to_string(),
        })?;
        Ok(Derived {
            kind: IMPORT.to_owned(),
            tank: String::new(),
            id: held.content.hash.clone(),
            fingerprint: held.key.clone(),
            body,
        })
    }

    /// Where a content belongs under its last note; another layout has it read again.
    pub(super) fn place_again(&mut self, number: usize) -> Result<Placed, Unfit> {
        let (content, note) = (self.held[number].content.clone(), self.held[number].note());
        let (imported, rows, key) = self.imported(&content, &note)?;
        let placed = place(&self.site, &self.zone, &content, &note, &imported, &rows)?;
        let held = &mut self.held[number];
        (held.imported, held.rows, held.key) = (imported, rows, key);
        Ok(placed)
    }

    /// Another content's name for the same undeclared tank: two names that become one id can't be told apart.
    pub(super) fn other_tank_name(&self, belongs: &Belongs) -> Option<String> {
        let given = belongs.tank_given.as_ref()?;
        let others = self
            .held
            .iter()
            .filter(|held| held.placed.belongs.tank == belongs.tank);
        let other = others
            .filter_map(|held| held.placed.belongs.tank_given.as_ref())
            .find(|other| *other != given)?;
        Some(format!(
            "the tank names “{other}” and “{given}” both become the id {}; declare one of them in tanks/, or rename the folder",
            belongs.tank
        ))
    }

    /// Enters an arrival if the surveys of its content come out of it; gives their ids.
    pub(super) fn try_enter(
        &mut self,
        arrival: &Arrival,
        content: usize,
    ) -> Result<Vec<String>, EngineError> {
        let mut book = self.book.clone();
        book.enter(arrival);
        let mut ids = Vec::new();
        let mut fresh = Vec::new();
        for entry in book
            .entries()
            .into_iter()
            .filter(|entry| entry.contents.contains(&content))
        {
            let taken = self.take_in(&entry)?;
            ids.push(entry.id.clone());
            fresh.push(((entry.tank, entry.id), taken));
        }
        self.book = book;
        self.fresh.extend(fresh);
        Ok(ids)
    }

    /// Takes in a survey from its contents.
    pub(super) fn take_in(&self, entry: &Entry) -> Result<TakenIn, TakeInError> {
        let tank = self.tank(&entry.tank);
        let mut taken = take_in(entry, &self.sources(entry), self.view(&tank))?;
        taken.survey.withdrawn = self.withdrawn_from(entry).filter_map(withdrawn_file).collect();
        Ok(taken)
    }

    /// The files that were withdrawn from a survey.
    fn withdrawn_from(&self, entry: &Entry) -> impl Iterator<Item = &Held> {
        entry.withdrawn.iter().filter_map(|number| self.held.get(*number))
    }

    pub(super) fn sources(&self, entry: &Entry) -> Vec<Source<'_>> {
        entry
            .contents
            .iter()
            .filter_map(|number| self.held.get(*number))
            .map(Held::source)
            .collect()
    }

    pub(super) fn view<'a>(&'a self, tank: &'a Tank) -> SiteView<'a> {
        SiteView {
            tank,
            devices: &self.site.devices,
            zone: &self.zone,
            zone_name: &self.site.timezone.name,
        }
    }

    /// A tank by its id, declared or not.
    pub(super) fn tank(&self, id: &str) -> Tank {
        self.site.tanks.get(id).cloned().unwrap_or_else(|| {
            let given = self.held.iter().find_map(|held| {
                let belongs = &held.placed.belongs;
                if belongs.tank == id {
                    belongs.tank_given.clone()
                } else {
                    None
                }
            });
            let undeclared = Tank::undeclared(id);
            Tank {
                name: given.unwrap_or_else(|| undeclared.name.clone()),
                ..undeclared
            }
        })
    }

    /// Fingerprint of all that a survey is derived from.
    pub(super) fn survey_fingerprint(&self, entry: &Entry) -> String {
        let prints = &self.site.fingerprints;
        let mut parts = vec![
            VERSION.to_owned(),
            format!("{entry:?}"),
            self.site.timezone.name.clone(),
        ];
        parts.push(prints.site.clone());
        parts.push(prints.tanks.get(&entry.tank).cloned().unwrap_or_default());
        parts.extend(prints.devices.values().cloned());
        for held in entry.contents.iter().filter_map(|number| self.held.get(*number)) {
            parts.push(held.key.clone());
            parts.push(held.imported.version.clone());
            parts.push(held.content.shown.clone());
            parts.push(held.content.mtime_us.to_string());
            parts.extend(held.notes.iter().map(|(_, text, _)| text.clone()));
        }
        for file in self.withdrawn_from(entry).filter_map(withdrawn_file) {
            parts.push(format!("{file:?}"));
        }
        fingerprint(&parts.iter().map(String::as_str).collect::<Vec<_>>())
    }

    /// The surveys of a tank in order of their start, those that changed taken in again. One that can't be
    /// taken in any more keeps what it was, and this is told.
    pub(super) fn surveys_of(&mut self, tank: &str) -> Vec<Derivation> {
        let mut surveys = Vec::new();
        for entry in self.book.entries().into_iter().filter(|entry| entry.tank == tank) {
            let key = (entry.tank.clone(), entry.id.clone());
            let print = self.survey_fingerprint(&entry);
            let kept = self
                .surveys
                .get(&key)
                .filter(|(kept, _)| *kept == print)
                .map(|(_, survey)| Arc::clone(survey));
            let survey = match kept {
                Some(survey) => Some(survey),
                None => match self.fresh.get(&key) {
                    Some(taken) if is_of(&taken.survey, &entry) => Some(Arc::new(taken.survey.clone())),
                    _ => match self.take_in(&entry) {
                        Ok(taken) => {
                            let survey = Arc::new(taken.survey.clone());
                            self.fresh.insert(key.clone(), taken);
                            Some(survey)
                        }
                        Err(error) => {
                            self.trouble(format!(
                                "survey {} of {tank} can't be derived again: {error}",
                                entry.id
                            ));
                            self.surveys.get(&key).map(|(_, survey)| Arc::clone(survey))
                        }
                    },
                },
            };
            surveys.extend(survey.map(|survey| (entry, print, survey)));
        }
        surveys
    }
}

/// Where a content belonged before some arrival.
fn placement_before(arrivals: &[(u64, Arrival)], number: usize, before: u64) -> Option<Placement> {
    let of_this = arrivals.iter().filter_map(|(at, arrival)| match arrival {
        Arrival::Came {
            content, placement, ..
        }
        | Arrival::Renoted { content, placement }
            if *content == number && *at < before =>
        {
            Some((*at, placement))
        }
        _ => None,
    });
    of_this
        .max_by_key(|(at, _)| *at)
        .map(|(_, placement)| placement.clone())
}

/// A withdrawn file as its survey tells of it.
fn withdrawn_file(held: &Held) -> Option<WithdrawnFile> {
    let withdrawal = held.withdrawn.as_ref()?;
    Some(WithdrawnFile {
        path: Text::from(held.content.shown.as_str()),
        blake3: held.content.hash.clone(),
        why: withdrawal.why.clone(),
        when: jiff::Timestamp::from_microsecond(withdrawal.when_us).unwrap_or(jiff::Timestamp::UNIX_EPOCH),
    })
}

/// True where a survey was taken in from just this entry.
fn is_of(survey: &Survey, entry: &Entry) -> bool {
    survey.revision == entry.revision
        && survey.sources.len() == entry.contents.len()
        && survey.withdrawn.len() == entry.withdrawn.len()
        && (survey.start, survey.end) == (entry.span.start, entry.span.end)
        && survey.replaces == entry.replaces
}
