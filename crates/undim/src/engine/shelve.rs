//! Files leave the inbox: to `taken/`, or to `set-aside/` with the reason beside them.

use super::arrive::Refusal;
use super::round::{Coming, Round, waits_for_mending};
use super::{Engine, Outcome, What};
use std::time::Duration;
use undim_config::After;
use undim_intake::listing::Entry;
use undim_intake::names;
use undim_intake::spool::{PutAwayError, Shelf, delete, put_away, set_aside};
use undim_store::{Content, ContentState};

impl Engine {
    pub(super) fn refuse(&mut self, round: &mut Round, one: &Coming, refusal: Refusal, now: Duration) {
        let path = names::shown(&one.entry.path);
        match refusal {
            Refusal::Later(why) => {
                let why = names::harmless(&why);
                self.hold_back(&one.entry, now);
                round.outcomes.push(Outcome {
                    path,
                    what: What::HeldBack { why },
                });
            }
            Refusal::Failed(why) => {
                self.hold_back(&one.entry, now);
                round.outcomes.push(waits_for_mending(&one.entry));
                self.trouble(why);
            }
            Refusal::SetAside { why, choices } => {
                // Names and cells of files may stand in it.
                let why = names::harmless(&why);
                let choices: Vec<String> = choices.iter().map(|choice| names::harmless(choice)).collect();
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
                let note = one.note.iter().filter_map(|(note, _, _)| note.as_ref());
                for beside in note.chain(&one.also) {
                    round.put_away.push((beside.clone(), Shelf::SetAside, None));
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

    pub(super) fn put_away(&mut self, entry: &Entry, shelf: Shelf, why: Option<&str>, round: &mut Round) {
        let inbox = self.site.inbox.clone();
        let stays = shelf == Shelf::Taken && self.site.intake.after == After::Keep;
        if stays {
            self.known.insert(entry.stamp);
            return;
        }
        let moved = if shelf == Shelf::Taken && self.site.intake.after == After::Delete {
            delete(&inbox, &entry.path, entry.stamp).map(|()| None)
        } else if let Some(why) = why {
            set_aside(&inbox, &entry.path, entry.stamp, why).map(Some)
        } else {
            put_away(&inbox, &entry.path, entry.stamp, shelf).map(Some)
        };
        match moved {
            Ok(moved) => {
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
}

/// The text of a `.why.txt`.
pub(super) fn why_text(path: &str, why: &str, choices: &[String]) -> String {
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
