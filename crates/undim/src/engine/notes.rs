//! Notes beside files: each goes with its file, and is archived with it.

use super::content::{Placed, Unfit};
use super::round::{Coming, Round, archive_options};
use super::shelve::why_text;
use super::{Engine, EngineError, Outcome, What};
use std::collections::BTreeSet;
use std::time::Duration;
use undim_config::{Note, description_part, parse_note, with_description};
use undim_intake::listing::Entry;
use undim_intake::names;
use undim_intake::spool::{ArchiveOptions, Happening, Record, Shelf, read_small};
use undim_store::{ContentState, Note as StoredNote, NoteState};
use undim_survey::Arrival;

/// A note is text typed by hand.
const LARGEST_NOTE: u64 = 1 << 20;

impl Engine {
    /// Sorts notes out of the ready files: a note goes with its file. Gives how many notes wait for a file that
    /// is not there, or is held back.
    pub(super) fn sort_out_notes(&mut self) -> usize {
        let mut waiting = 0;
        let listed: BTreeSet<&[u8]> = self
            .listing
            .entries
            .iter()
            .map(|entry| entry.path.as_slice())
            .collect();
        let mut ready = std::mem::take(&mut self.ready);
        let lone_packages = self.lone_packages(&ready);
        ready.retain(|entry| {
            match names::file_of_note(&entry.path).or(names::file_of_metadata(&entry.path)) {
                None if names::is_package(&entry.path) => {
                    let says = lone_packages.get(&entry.path).copied();
                    waiting += usize::from(says == Some(false));
                    says == Some(true)
                }
                None => true,
                Some(file) if listed.contains(file) => {
                    waiting += usize::from(self.held_back.contains(file));
                    false
                }
                Some(file) => match self.store.last_at_path(file) {
                    Ok(Some(content)) => {
                        matches!(
                            content.state,
                            ContentState::Taken | ContentState::Superseded | ContentState::Withdrawn
                        )
                    }
                    _ => {
                        waiting += 1;
                        false
                    }
                },
            }
        });
        self.ready = ready;
        waiting
    }

    /// A file with the note that lies beside it; nothing where the note can't be read.
    pub(super) fn with_its_note(&mut self, round: &mut Round, entry: Entry, now: Duration) -> Option<Coming> {
        let path = names::note_of_file(&entry.path);
        let note = self
            .listing
            .entries
            .iter()
            .find(|other| other.path == path)
            .cloned();
        let read = match &note {
            Some(note) => self
                .read_note(note)
                .map_err(|why| (note.path.clone(), "note", why)),
            None => Ok((String::new(), Note::default())),
        };
        let read = read.and_then(|(text, parsed)| {
            let told = self
                .description_beside(&entry)
                .map_err(|(path, why)| (path, "description", why))?;
            let Some(told) = told else {
                return Ok((text, parsed, None));
            };
            let text = with_description(&text, &told.by, &told.text);
            let parsed = parse_note(text.as_bytes(), "note").map_err(|_| {
                (
                    told.path,
                    "description",
                    "it can't be kept with the file".to_owned(),
                )
            })?;
            Ok((text, parsed, told.goes_along))
        });
        match read {
            Ok((text, _, None)) if note.is_none() && text.is_empty() => Some(Coming {
                entry,
                note: None,
                also: Vec::new(),
                archived: None,
            }),
            Ok((text, parsed, along)) => Some(Coming {
                entry,
                also: if note.is_some() {
                    along.iter().cloned().collect()
                } else {
                    Vec::new()
                },
                note: Some((note.or(along), text, parsed)),
                archived: None,
            }),
            Err((beside, what, why)) => {
                let (file, named) = (names::shown(&entry.path), names::shown(&beside));
                self.hold_back(&entry, now);
                let why = names::harmless(&why);
                let what = What::HeldBack {
                    why: format!("its {what} {named} can't be read: {why}"),
                };
                round.outcomes.push(Outcome { path: file, what });
                None
            }
        }
    }

    pub(super) fn read_note(&self, entry: &Entry) -> Result<(String, Note), String> {
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

    /// A note alone belongs to the last content from its path, in place of the note that it had.
    pub(super) fn take_note_alone(
        &mut self,
        round: &mut Round,
        entry: Entry,
        now: Duration,
    ) -> Result<(), EngineError> {
        let Some(file) = names::file_of_note(&entry.path) else {
            return Ok(());
        };
        let Some(content) = self.store.last_at_path(file)? else {
            return Ok(());
        };
        match self.read_note(&entry) {
            Ok((text, note)) => {
                // A description stays until another one comes.
                let kept = description_part(&self.last_note_of(&content.hash)).to_owned();
                let (text, note) = if kept.is_empty() {
                    (text, note)
                } else {
                    let text = format!("{}{kept}", ended(&text));
                    let note = parse_note(text.as_bytes(), "note").unwrap_or(note);
                    (text, note)
                };
                self.renote(round, &content.hash, Some(entry), text, note)
            }
            Err(why) => {
                self.hold_back(&entry, now);
                let path = names::shown(&entry.path);
                round.outcomes.push(Outcome {
                    path,
                    what: What::HeldBack {
                        why: names::harmless(&why),
                    },
                });
                Ok(())
            }
        }
    }

    pub(super) fn renote(
        &mut self,
        round: &mut Round,
        hash: &str,
        entry: Option<Entry>,
        text: String,
        note: Note,
    ) -> Result<(), EngineError> {
        if let Some(entry) = &entry
            && self.renote_upkeep(round, hash, entry, &text, &note)?
        {
            return Ok(());
        }
        let Some(number) = self.held.iter().position(|held| held.content.hash == hash) else {
            // Its file could not be derived again, so nothing can be said of it.
            if let Some(entry) = entry {
                let now = self.now();
                self.hold_back(&entry, now);
                let what = What::HeldBack {
                    why: "its file can't be derived again as things stand; mend that first".to_owned(),
                };
                let path = names::shown(&entry.path);
                round.outcomes.push(Outcome { path, what });
            }
            return Ok(());
        };
        let file = self.held[number].content.shown.clone();
        let path = entry
            .as_ref()
            .map_or_else(|| file.clone(), |entry| names::shown(&entry.path));
        let withdrawn = self.held[number].content.state == ContentState::Withdrawn;
        let noted = |tank: &str, surveys: Vec<String>| Outcome {
            path: path.clone(),
            what: What::Noted {
                file: file.clone(),
                tank: tank.to_owned(),
                surveys,
                withdrawn,
            },
        };
        if self.held[number]
            .notes
            .last()
            .is_some_and(|(_, last, _)| *last == text)
        {
            round
                .put_away
                .extend(entry.map(|entry| (entry, Shelf::Taken, None)));
            let held = &self.held[number];
            let surveys = self
                .surveys_with(&held.content.hash)
                .into_iter()
                .map(|(_, id)| id);
            let outcome = noted(&held.placed.belongs.tank, surveys.collect());
            round.outcomes.push(outcome);
            return Ok(());
        }
        let before = self.held[number].clone();
        // The number right after a content's own is that of the note it came with.
        let arrival = round.next_arrival.max(before.content.arrival + 2);
        let (placed, surveys) = match self.hold_note(number, arrival, text.clone(), note)? {
            Ok(held) => held,
            Err(why) => {
                self.held[number] = before;
                if let Some(entry) = entry {
                    refuse_note(round, entry, &why);
                }
                return Ok(());
            }
        };
        round
            .put_away
            .extend(entry.map(|entry| (entry, Shelf::Taken, None)));
        round.outcomes.push(noted(&placed.belongs.tank, surveys));
        round.next_arrival = arrival + 1;
        round.tanks.insert(before.placed.belongs.tank.clone());
        round.tanks.insert(placed.belongs.tank.clone());
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

    /// Lets a note speak for a content that was there, if the surveys of that content come out of it; a
    /// sentence where they don't. The content is changed all the same.
    fn hold_note(
        &mut self,
        number: usize,
        arrival: u64,
        text: String,
        note: Note,
    ) -> Result<Result<(Placed, Vec<String>), String>, EngineError> {
        self.held[number].notes.push((arrival, text, note));
        let placed = match self.place_again(number) {
            Ok(placed) => placed,
            Err(Unfit::Refused(why)) => return Ok(Err(why)),
            Err(Unfit::Failed(error)) => return Err(error),
        };
        self.held[number].placed = placed.clone();
        let renoted = Arrival::Renoted {
            content: number,
            placement: placed.placement(),
        };
        match self.try_enter(&renoted, number) {
            Ok(surveys) => Ok(Ok((placed, surveys))),
            Err(error) => Ok(Err(error.blames_the_file()?)),
        }
    }
}

/// A text whose last line is ended.
fn ended(text: &str) -> String {
    let end = if text.is_empty() || text.ends_with('\n') {
        ""
    } else {
        "\n"
    };
    format!("{text}{end}")
}

/// Sets a note aside that its file can't be read under.
pub(super) fn refuse_note(round: &mut Round, entry: Entry, why: &str) {
    let path = names::shown(&entry.path);
    let why = names::harmless(why);
    let text = why_text(&path, &why, &[]);
    round.put_away.push((entry, Shelf::SetAside, Some(text)));
    round.outcomes.push(Outcome {
        path,
        what: What::SetAside {
            why,
            choices: Vec::new(),
            moved_to: String::new(),
        },
    });
}
