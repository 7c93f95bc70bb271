//! The ledger on a real disk.

use super::*;
use jiff::Timestamp;
use jiff::civil::date;
use rusqlite::Connection;
use std::fs;
use std::path::PathBuf;
use tempfile::TempDir;
use undim_model::{
    About, Alert, AlertChange, AlertStep, AlertTarget, Cause, FlagCounts, Level, State, Survey,
};

fn place() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("ledger.sqlite");
    (folder, path)
}

fn content(mark: char, arrival: u64, path: &[u8]) -> Content {
    Content {
        hash: mark.to_string().repeat(64),
        arrival,
        path: path.to_vec(),
        shown: String::from_utf8_lossy(path).into_owned(),
        bytes: 60,
        mtime_us: -1,
        state: ContentState::Archived,
        superseded_by: None,
        why: None,
        importer: None,
        importer_version: None,
        options_fingerprint: None,
        rows: None,
        put_away_path: None,
    }
}

fn survey(tank: &str, id: &str, start_us: i64) -> StoredSurvey {
    let time = Timestamp::from_microsecond(start_us).expect("a time");
    StoredSurvey {
        fingerprint: format!("of {id}"),
        survey: Survey {
            tank: tank.to_owned(),
            id: id.to_owned(),
            revision: 1,
            scene: None,
            replaces: Vec::new(),
            start: time,
            end: time,
            date: date(2026, 4, 3),
            timezone: "Europe/Lisbon".to_owned(),
            sources: Vec::new(),
            withdrawn: Vec::new(),
            devices: Vec::new(),
            stations: Vec::new(),
            counts: FlagCounts::default(),
            pumps_on: None,
            water_cm: None,
            read_again: Vec::new(),
            said: Vec::new(),
            tied_to_reference: false,
        },
    }
}

fn delivery(change_id: &str, sink: &str, next_try_us: i64) -> NewDelivery {
    NewDelivery {
        change_id: change_id.to_owned(),
        sink: sink.to_owned(),
        notice: format!("notice of {change_id}"),
        created_us: 1,
        next_try_us,
    }
}

fn change(id: &str) -> StoredChange {
    let time = Timestamp::UNIX_EPOCH;
    StoredChange {
        change_id: id.to_owned(),
        change: AlertChange {
            step: AlertStep::Opened,
            alert: Alert {
                id: "loss-west".to_owned(),
                tank: "reef".to_owned(),
                about: About::Light,
                state: State::Open,
                level: Level::Notice,
                cause: Some(Cause::LensDirty),
                cause_probability: Some(0.6),
                target: AlertTarget::Fixture("west".to_owned()),
                change_percent: Some(-10.0),
                ci95: Some([-12.0, -8.0]),
                survey: None,
                baseline: None,
                opened: time,
                updated: time,
                closed: None,
                evidence: Vec::new(),
                next_step: Vec::new(),
                alternatives: Vec::new(),
                alike: Vec::new(),
                p_real: None,
            },
        },
    }
}

#[test]
fn a_new_ledger_has_the_newest_form_and_the_safe_settings() {
    let (_folder, path) = place();
    let store = Store::open(&path).expect("made");
    let pragma = |name: &str| -> String {
        store
            .connection
            .query_row(
                &format!("SELECT CAST({name} AS TEXT) FROM pragma_{name}"),
                [],
                |row| row.get(0),
            )
            .expect("a setting")
    };
    assert_eq!(pragma("user_version"), VERSION.to_string());
    assert_eq!(pragma("journal_mode"), "wal");
    // SQLite documentation, "PRAGMA synchronous": 2 is FULL.
    assert_eq!(pragma("synchronous"), "2");
    assert_eq!(pragma("foreign_keys"), "1");
    assert!(store.integrity_check().expect("checked").is_empty());
    store.close().expect("closed");
    let again = Store::open(&path).expect("opened");
    assert_eq!(again.counts().expect("counted"), Counts::default());
    assert_eq!(again.next_arrival().expect("a number"), 1);
}

#[test]
fn a_newer_form_is_refused_and_stays_as_it_is() {
    let (_folder, path) = place();
    Store::open(&path).expect("made").close().expect("closed");
    let other = Connection::open(&path).expect("opened");
    other
        .pragma_update(None, "user_version", VERSION + 1)
        .expect("set");
    other.close().expect("closed");
    let before = fs::read(&path).expect("bytes");
    for said in [
        Store::open(&path).expect_err("refused"),
        Reader::open_read_only(&path).expect_err("refused"),
    ] {
        assert!(matches!(said, StoreError::Newer { .. }));
        assert!(said.to_string().contains("undim rebuild"), "{said}");
    }
    assert_eq!(fs::read(&path).expect("bytes"), before);
}

#[test]
fn somebody_elses_database_is_refused_and_stays_as_it_is() {
    let (_folder, path) = place();
    let other = Connection::open(&path).expect("made");
    other
        .execute_batch("CREATE TABLE fish (name TEXT)")
        .expect("a table");
    other.close().expect("closed");
    let before = fs::read(&path).expect("bytes");
    assert!(matches!(Store::open(&path), Err(StoreError::Foreign { .. })));
    assert!(matches!(
        Reader::open_read_only(&path),
        Err(StoreError::Foreign { .. })
    ));
    assert_eq!(fs::read(&path).expect("bytes"), before);
}

#[test]
fn a_damaged_ledger_is_said_with_the_way_out() {
    let (_folder, path) = place();
    fs::write(
        &path,
        "this is no database at all, only some bytes of text".repeat(100),
    )
    .expect("a file");
    let said = Store::open(&path).expect_err("refused");
    assert!(matches!(said, StoreError::Damaged { .. }), "{said}");
    assert!(said.to_string().contains("undim rebuild"), "{said}");

    fs::remove_file(&path).expect("removed");
    let mut store = Store::open(&path).expect("made");
    let contents = (1..2000).map(|n| Content {
        hash: format!("{n:064x}"),
        ..content('a', n, b"x")
    });
    store
        .commit(&Batch {
            contents: contents.collect(),
            ..Batch::default()
        })
        .expect("kept");
    store.close().expect("closed");
    let mut bytes = fs::read(&path).expect("bytes");
    let middle = bytes.len() / 2;
    bytes[middle..middle + 9000].fill(0x5a);
    fs::write(&path, bytes).expect("damaged");
    let said = Store::open(&path).expect_err("refused");
    assert!(matches!(said, StoreError::Damaged { .. }), "{said}");
    assert!(matches!(
        Store::open(&path.join("nowhere")),
        Err(StoreError::Failed { .. })
    ));
}

#[test]
fn contents_and_notes_are_found_again() {
    let (_folder, path) = place();
    let mut store = Store::open(&path).expect("made");
    let odd = b"reef/b\n\xff.csv";
    let mut first = content('a', 1, odd);
    let second = Content {
        state: ContentState::Taken,
        importer: Some("delimited".to_owned()),
        importer_version: Some("0.1.0".to_owned()),
        options_fingerprint: Some("f".to_owned()),
        rows: Some(60),
        put_away_path: Some(b"taken/x".to_vec()),
        ..content('b', 3, odd)
    };
    first.state = ContentState::Superseded;
    first.superseded_by = Some(second.hash.clone());
    let note = |arrival, state, content: Option<&Content>| Note {
        arrival,
        path: odd.to_vec(),
        content: content.map(|content| content.hash.clone()),
        text: format!("remark = \"{arrival}\"\n"),
        state,
    };
    store
        .commit(&Batch {
            contents: vec![first.clone(), second.clone()],
            notes: vec![
                note(2, NoteState::Replaced, Some(&first)),
                note(4, NoteState::Attached, Some(&second)),
                note(5, NoteState::Waiting, None),
            ],
            meta: vec![("zone".to_owned(), "UTC".to_owned())],
            ..Batch::default()
        })
        .expect("kept");
    assert_eq!(store.by_hash(&first.hash).expect("read"), Some(first.clone()));
    assert_eq!(store.last_at_path(odd).expect("read"), Some(second.clone()));
    assert_eq!(store.last_at_path(b"none").expect("read"), None);
    assert_eq!(
        store.all_in_order().expect("read"),
        [first.clone(), second.clone()]
    );
    assert_eq!(
        store.in_state(ContentState::Taken).expect("read"),
        std::slice::from_ref(&second)
    );
    assert_eq!(
        store.by_source("aaaaaaaa").expect("read"),
        std::slice::from_ref(&first)
    );
    assert_eq!(store.by_source("aaa").expect("read"), []);
    assert_eq!(store.by_source(&first.shown).expect("read").len(), 2);
    assert_eq!(store.next_arrival().expect("read"), 6);
    assert_eq!(store.notes().expect("read").len(), 3);
    assert_eq!(
        store
            .note_of(&second.hash)
            .expect("read")
            .map(|note| note.arrival),
        Some(4)
    );
    assert_eq!(store.note_of(&first.hash).expect("read"), None);
    assert_eq!(
        store
            .note_waiting_for(odd)
            .expect("read")
            .map(|note| note.arrival),
        Some(5)
    );
    assert_eq!(store.meta("zone").expect("read").as_deref(), Some("UTC"));
    let counts = store.counts().expect("counted");
    assert_eq!((counts.taken, counts.superseded, counts.notes_waiting), (1, 1, 1));
}

#[test]
fn a_batch_is_kept_whole_or_not_at_all() {
    let (_folder, path) = place();
    let mut store = Store::open(&path).expect("made");
    let refused = store.commit(&Batch {
        contents: vec![content('a', 1, b"a"), content('b', 1, b"b")],
        surveys: vec![survey("reef", "2026-04-03", 0)],
        ..Batch::default()
    });
    assert!(
        matches!(refused, Err(StoreError::Failed { .. })),
        "two contents with one arrival"
    );
    let dangling = Content {
        superseded_by: Some("none".to_owned()),
        ..content('a', 1, b"a")
    };
    assert!(
        store
            .commit(&Batch {
                contents: vec![dangling],
                ..Batch::default()
            })
            .is_err()
    );
    assert_eq!(store.counts().expect("counted"), Counts::default());
}

#[test]
fn surveys_and_what_else_is_derived_come_and_go() {
    let (_folder, path) = place();
    let mut store = Store::open(&path).expect("made");
    let derived = |id: &str| Derived {
        kind: "judgement".to_owned(),
        tank: "reef".to_owned(),
        id: id.to_owned(),
        fingerprint: "f".to_owned(),
        body: "{}".to_owned(),
    };
    let (late, early) = (survey("reef", "a", 2_000_000), survey("reef", "b", -1_000_000));
    store
        .commit(&Batch {
            surveys: vec![late.clone(), early.clone()],
            derived: vec![derived("y"), derived("x")],
            alert_changes: vec![("reef".to_owned(), vec![change("1"), change("2")])],
            deliveries: vec![delivery("1", "file", 5)],
            ..Batch::default()
        })
        .expect("kept");
    assert_eq!(
        store.surveys("reef").expect("read"),
        [early.clone(), late.clone()]
    );
    assert_eq!(store.survey("reef", "a").expect("read"), Some(late));
    assert_eq!(store.survey_heads("reef").expect("read")[0].start_us, -1_000_000);
    assert_eq!(
        store.derived_of("judgement", "reef").expect("read"),
        [derived("x"), derived("y")]
    );
    assert_eq!(store.derived("judgement", "reef", "z").expect("read"), None);
    assert_eq!(
        store.alert_changes("reef").expect("read"),
        [change("1"), change("2")]
    );
    assert_eq!(store.tanks().expect("read"), ["reef"]);
    store
        .commit(&Batch {
            surveys_gone: vec![("reef".to_owned(), "a".to_owned())],
            derived_gone: vec![("judgement".to_owned(), "reef".to_owned(), "x".to_owned())],
            alert_changes: vec![("reef".to_owned(), vec![change("2")])],
            ..Batch::default()
        })
        .expect("kept");
    assert_eq!(store.surveys("reef").expect("read"), [early]);
    assert_eq!(
        store.derived_of("judgement", "reef").expect("read"),
        [derived("y")]
    );
    assert_eq!(store.alert_changes("reef").expect("read"), [change("2")]);
    store
        .commit(&Batch {
            clear_derived: true,
            ..Batch::default()
        })
        .expect("kept");
    assert!(store.tanks().expect("read").is_empty());
    assert!(store.derived_of("judgement", "reef").expect("read").is_empty());
    assert_eq!(
        store.undelivered().expect("read").len(),
        1,
        "deliveries outlive a rebuild"
    );
}

#[test]
fn a_notice_goes_to_each_receiver_once_however_often_the_past_is_derived() {
    let (_folder, path) = place();
    let mut store = Store::open(&path).expect("made");
    let batch = Batch {
        deliveries: vec![delivery("1", "file", 10), delivery("1", "command", 20)],
        ..Batch::default()
    };
    store.commit(&batch).expect("kept");
    assert_eq!(store.next_due_us().expect("read"), Some(10));
    let due = store.due(10).expect("read");
    assert_eq!(due.len(), 1);
    store.mark_sent(due[0].id, 11).expect("kept");
    store.commit(&batch).expect("kept");
    let waiting = store.due(1000).expect("read");
    assert_eq!(waiting.len(), 1, "the sent one does not come again");
    let id = waiting[0].id;
    store.mark_failed(id, "exit status 1", Some(500)).expect("kept");
    assert!(store.due(499).expect("read").is_empty());
    let again = store.due(500).expect("read");
    assert_eq!(
        (again[0].attempts, again[0].last_error.as_deref()),
        (1, Some("exit status 1"))
    );
    store.mark_failed(id, "exit status 2", None).expect("kept");
    assert!(store.due(i64::MAX).expect("read").is_empty());
    let left = store.undelivered().expect("read");
    assert_eq!(
        (left.len(), left[0].state, left[0].attempts),
        (1, DeliveryState::GivenUp, 2)
    );
    assert_eq!(store.counts().expect("counted").deliveries_given_up, 1);
}

#[test]
fn a_reader_looks_on_while_the_writer_writes() {
    let (_folder, path) = place();
    assert!(Reader::open_read_only(&path).expect("none yet").is_none());
    let mut store = Store::open(&path).expect("made");
    let reader = Reader::open_read_only(&path).expect("opened").expect("there");
    store
        .connection
        .execute_batch("BEGIN IMMEDIATE; INSERT INTO meta VALUES ('a', 'b')")
        .expect("a write under way");
    assert_eq!(reader.meta("a").expect("read"), None);
    store.connection.execute_batch("COMMIT").expect("kept");
    assert_eq!(reader.meta("a").expect("read").as_deref(), Some("b"));
    assert!(
        reader.connection.execute("DELETE FROM meta", []).is_err(),
        "it can't write"
    );
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for n in 1..=200 {
                store
                    .commit(&Batch {
                        contents: vec![Content {
                            hash: format!("{n:064x}"),
                            ..content('a', n, b"x")
                        }],
                        ..Batch::default()
                    })
                    .expect("kept");
            }
        });
        let mut last = 0;
        while last < 200 {
            let now = Reader::open_read_only(&path)
                .expect("opened")
                .expect("there")
                .counts()
                .expect("counted")
                .archived;
            assert!(now >= last);
            last = now;
        }
    });
}
