//! A ledger that is lost is filled again from the archive's own records: it costs nothing but the memory of
//! which notices went out.
//!
//! A record is kept before the ledger counts it, so a program killed in between leaves one that never
//! counted; its number may have gone to somebody else.

use super::arrive::begins_with;
use super::open::OpenError;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use undim_config::parse_note;
use undim_intake::names;
use undim_intake::spool::{Happening, Record, Records, read_records};
use undim_store::{Batch, Content, ContentState, Decision, Note, NoteState, Store, Withdrawal};

/// Fills a ledger that is new.
pub(super) fn restore(store: &mut Store, raw: &Path) -> Result<(), OpenError> {
    if store.next_arrival()? > 1 {
        return Ok(());
    }
    let Records {
        records,
        damaged,
        without_content,
        ..
    } = read_records(raw).map_err(|error| OpenError::Folder {
        path: raw.to_owned(),
        error,
    })?;
    for line in damaged {
        tracing::warn!(line, "a record of the archive is damaged; the others count");
    }
    for hash in &without_content {
        tracing::warn!(
            hash,
            "the archive knows of a file but its bytes are gone; it does not count"
        );
    }
    if records.is_empty() {
        return Ok(());
    }
    tracing::warn!(
        records = records.len(),
        "the ledger is new but the archive is not; it is filled from the archive"
    );
    let there = records
        .into_iter()
        .filter(|record| !without_content.contains(&record.hash));
    let mut batch = batch_of(renumbered(that_counted(there.collect())));
    replay(&mut batch, raw)?;
    store.commit(&batch)?;
    Ok(())
}

/// The records that counted: those of contents that arrived, and of notes that say the same in a row the last
/// one, as a note that says nothing new is not counted again.
fn that_counted(records: Vec<Record>) -> Vec<Record> {
    let arrived: BTreeSet<String> = records
        .iter()
        .filter(|record| matches!(record.happening, Happening::Arrived { .. }))
        .map(|record| record.hash.clone())
        .collect();
    let mut next_note: BTreeMap<String, String> = BTreeMap::new();
    let mut counted: Vec<Record> = records
        .into_iter()
        .rev()
        .filter(|record| {
            let repeats = match &record.happening {
                Happening::Note { text, .. } => {
                    next_note.insert(record.hash.clone(), text.clone()).as_ref() == Some(text)
                }
                _ => false,
            };
            arrived.contains(&record.hash) && !repeats
        })
        .collect();
    counted.reverse();
    counted
}

/// Every record under a number of its own: of two that claim one, the second comes after all others, with
/// everything else that happened to its content.
fn renumbered(records: Vec<Record>) -> Vec<Record> {
    let mut given = BTreeSet::new();
    let mut moved = BTreeSet::new();
    for record in &records {
        if !given.insert(record.arrival) {
            moved.insert(record.hash.clone());
        }
    }
    let next = given.last().map_or(1, |last| last + 1);
    let (late, mut all): (Vec<Record>, Vec<Record>) = records
        .into_iter()
        .partition(|record| moved.contains(&record.hash));
    all.extend(
        (next..)
            .zip(late)
            .map(|(arrival, record)| Record { arrival, ..record }),
    );
    all
}

fn batch_of(records: Vec<Record>) -> Batch {
    let mut batch = Batch::default();
    for record in records {
        match record.happening {
            Happening::Arrived {
                path,
                mtime_us,
                bytes,
            } => batch.contents.push(Content {
                hash: record.hash,
                arrival: record.arrival,
                shown: names::shown(&path),
                path,
                bytes,
                mtime_us,
                state: ContentState::Taken,
                superseded_by: None,
                why: None,
                importer: None,
                importer_version: None,
                options_fingerprint: None,
                rows: None,
                put_away_path: None,
            }),
            Happening::Note { path, text } => {
                let file = names::file_of_note(&path).unwrap_or(&path).to_vec();
                if parse_note(text.as_bytes(), "note").is_ok() {
                    let of_the_same = batch
                        .notes
                        .iter_mut()
                        .filter(|note| note.content.as_ref() == Some(&record.hash));
                    for note in of_the_same {
                        note.state = NoteState::Replaced;
                    }
                    batch.notes.push(Note {
                        arrival: record.arrival,
                        path: file,
                        content: Some(record.hash),
                        text,
                        state: NoteState::Attached,
                    });
                }
            }
            Happening::Withdrawn { why, when_us } => batch.withdrawals.push(Withdrawal {
                arrival: record.arrival,
                content: record.hash,
                what: Decision::Withdrawn,
                why,
                when_us,
                other: None,
            }),
            Happening::Reinstated { why, when_us } => batch.withdrawals.push(Withdrawal {
                arrival: record.arrival,
                content: record.hash,
                what: Decision::Reinstated,
                why,
                when_us,
                other: None,
            }),
        }
    }
    batch
}

/// Lets contents replace one another and be withdrawn again, in the order in which that came.
fn replay(batch: &mut Batch, raw: &Path) -> Result<(), OpenError> {
    let mut withdrawals = std::mem::take(&mut batch.withdrawals).into_iter().peekable();
    let contents = &mut batch.contents;
    for number in 0..contents.len() {
        let arrival = contents[number].arrival;
        while let Some(withdrawal) = withdrawals.next_if(|one| one.arrival < arrival) {
            batch
                .withdrawals
                .extend(decide(contents, withdrawal, &batch.withdrawals));
        }
        let before = (0..number).rev().find(|old| {
            contents[*old].path == contents[number].path && contents[*old].state != ContentState::Withdrawn
        });
        if let Some(old) = before
            && contents[old].state == ContentState::Taken
            && begins_with(raw, &contents[number], &contents[old])?
        {
            contents[old].state = ContentState::Superseded;
            contents[old].superseded_by = Some(contents[number].hash.clone());
        }
    }
    for withdrawal in withdrawals {
        batch
            .withdrawals
            .extend(decide(contents, withdrawal, &batch.withdrawals));
    }
    Ok(())
}

/// A withdrawal or its undoing, done to the contents; `None` where it says nothing new.
fn decide(contents: &mut [Content], mut this: Withdrawal, earlier: &[Withdrawal]) -> Option<Withdrawal> {
    let number = contents.iter().position(|content| content.hash == this.content)?;
    this.other = super::withdraw::decide(contents, number, this.what, &this.why, earlier).ok()?;
    Some(this)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arrived(arrival: u64, hash: &str) -> Record {
        Record {
            arrival,
            hash: hash.into(),
            happening: Happening::Arrived {
                path: hash.as_bytes().to_vec(),
                mtime_us: 0,
                bytes: 1,
            },
        }
    }

    fn note(arrival: u64, hash: &str, remark: &str) -> Record {
        Record {
            arrival,
            hash: hash.into(),
            happening: Happening::Note {
                path: format!("{hash}.note.toml").into_bytes(),
                text: format!("remark = \"{remark}\"\n"),
            },
        }
    }

    /// Contents and notes, each with its arrival and hash.
    type Restored = (Vec<(u64, String)>, Vec<(u64, String, NoteState)>);

    fn restored(records: &[Record]) -> Restored {
        let mut records = records.to_vec();
        records.sort_by(|a, b| (a.arrival, &a.hash).cmp(&(b.arrival, &b.hash)));
        let batch = batch_of(renumbered(that_counted(records)));
        (
            batch.contents.into_iter().map(|c| (c.arrival, c.hash)).collect(),
            batch
                .notes
                .into_iter()
                .map(|n| (n.arrival, n.content.unwrap_or_default(), n.state))
                .collect(),
        )
    }

    #[test]
    fn a_note_that_came_again_counts_once() {
        // Killed after the record of a note whose number went to "b"; then it came again.
        let (contents, notes) = restored(&[
            arrived(1, "a"),
            note(3, "a", "x"),
            arrived(3, "b"),
            note(4, "a", "x"),
            note(5, "a", "y"),
        ]);
        assert_eq!(contents, [(1, "a".into()), (3, "b".into())]);
        assert_eq!(
            notes,
            [
                (4, "a".into(), NoteState::Replaced),
                (5, "a".into(), NoteState::Attached)
            ]
        );
    }

    #[test]
    fn a_file_that_never_came_again_counts_after_all_others() {
        // Killed after the record of "z", which was then taken out of the inbox.
        let (contents, notes) = restored(&[
            arrived(1, "z"),
            note(2, "z", "x"),
            arrived(1, "a"),
            arrived(2, "b"),
        ]);
        assert_eq!(contents, [(1, "a".into()), (2, "b".into()), (3, "z".into())]);
        assert_eq!(notes, [(4, "z".into(), NoteState::Attached)]);
    }

    #[test]
    fn a_note_without_its_arrival_is_passed_over() {
        let (contents, notes) = restored(&[note(2, "gone", "x"), arrived(3, "a")]);
        assert_eq!((contents.len(), notes.len()), (1, 0));
    }
}
