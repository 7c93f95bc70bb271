//! Writing the ledger: one writer, whole transactions.

use crate::read::Reader;
use crate::rows::{Content, Derived, NewDelivery, Note, StoredChange, StoredSurvey, Withdrawal};
use crate::{StoreError, schema, twin};
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior, params};
use std::ops::Deref;
use std::path::Path;
use std::time::Duration;

/// The one writer. It can read all that a [`Reader`] can.
#[derive(Debug)]
pub struct Store {
    reader: Reader,
}

/// Changes that belong together. Later fields may speak of earlier ones; each list is taken in order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Batch {
    /// First forget everything derived: surveys, changes of alerts, the rest. Contents, notes, deliveries
    /// and meta stay.
    pub clear_derived: bool,
    /// Put in, or in place of the one with the same hash.
    pub contents: Vec<Content>,
    /// Put in, or in place of the one with the same arrival.
    pub notes: Vec<Note>,
    /// Put in, or in place of the one with the same arrival.
    pub withdrawals: Vec<Withdrawal>,
    /// (kind, tank, id) to forget.
    pub derived_gone: Vec<(String, String, String)>,
    /// Put in, or in place of the one with the same kind, tank and id.
    pub derived: Vec<Derived>,
    /// (tank, id) of surveys to forget.
    pub surveys_gone: Vec<(String, String)>,
    /// Put in, or in place of the one with the same tank and id.
    pub surveys: Vec<StoredSurvey>,
    /// For each tank named, all its changes of alerts in their order, in place of those it had.
    pub alert_changes: Vec<(String, Vec<StoredChange>)>,
    /// Put in, unless the same change was ever to go to the same receiver.
    pub deliveries: Vec<NewDelivery>,
    /// Key and value, in place of the old value.
    pub meta: Vec<(String, String)>,
}

impl Deref for Store {
    type Target = Reader;

    fn deref(&self) -> &Reader {
        &self.reader
    }
}

impl Store {
    /// Opens the ledger, making it or bringing it up to date where needed. A newer, a foreign or a damaged
    /// one is refused as it is.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        schema::check_sqlite()?;
        let failed = |error| StoreError::from_sqlite(path, "opening it", error);
        if path.exists() {
            // Looked at first without the right to write, so that what is refused stays as it is.
            let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
            let looking = Connection::open_with_flags(path, flags).map_err(failed)?;
            looking.busy_timeout(Duration::from_secs(5)).map_err(failed)?;
            schema::version_of(&looking, path)?;
            quick_check(&looking, path)?;
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut connection = Connection::open_with_flags(path, flags).map_err(failed)?;
        connection.busy_timeout(Duration::from_secs(5)).map_err(failed)?;
        let found = schema::version_of(&connection, path)?;
        let mode: String = connection
            .query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))
            .map_err(failed)?;
        if mode != "wal" {
            return Err(StoreError::NoWriteAheadLog {
                path: path.to_owned(),
                mode,
            });
        }
        connection
            .execute_batch(
                "PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; \
                 PRAGMA cell_size_check = ON;",
            )
            .map_err(failed)?;
        schema::migrate(&mut connection, path, found)?;
        connection.set_prepared_statement_cache_capacity(64);
        Ok(Self {
            reader: Reader {
                connection,
                path: path.to_owned(),
            },
        })
    }

    /// All of it, or nothing where it fails. Once this returns it outlasts a power cut.
    pub fn commit(&mut self, batch: &Batch) -> Result<(), StoreError> {
        let Reader { connection, path } = &mut self.reader;
        let encoded = Encoded::of(batch)?;
        connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .and_then(|transaction| {
                write(&transaction, batch, &encoded)?;
                transaction.commit()
            })
            .map_err(|error| StoreError::from_sqlite(path, "writing", error))
    }

    /// A notice went out.
    pub fn mark_sent(&mut self, id: i64, now_us: i64) -> Result<(), StoreError> {
        self.change(
            "UPDATE delivery SET state = 'sent', attempts = attempts + 1, sent_us = ?2, last_error = NULL WHERE id = ?1",
            params![id, now_us],
        )
    }

    /// A try failed; it is tried again at `next_try_us`, or given up where that is `None`.
    pub fn mark_failed(&mut self, id: i64, error: &str, next_try_us: Option<i64>) -> Result<(), StoreError> {
        self.change(
            "UPDATE delivery SET attempts = attempts + 1, last_error = ?2, next_try_us = coalesce(?3, next_try_us), \
             state = CASE WHEN ?3 IS NULL THEN 'given-up' ELSE 'waiting' END WHERE id = ?1 AND state <> 'sent'",
            params![id, error, next_try_us],
        )
    }

    /// Moves the write-ahead log into the ledger and closes it.
    pub fn close(self) -> Result<(), StoreError> {
        let Reader { connection, path } = self.reader;
        connection
            .close()
            .map_err(|(_, error)| StoreError::from_sqlite(&path, "closing it", error))
    }

    fn change(&mut self, sql: &str, parameters: impl rusqlite::Params) -> Result<(), StoreError> {
        let Reader { connection, path } = &self.reader;
        connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.execute(parameters))
            .map(|_| ())
            .map_err(|error| StoreError::from_sqlite(path, "writing", error))
    }
}

fn quick_check(connection: &Connection, path: &Path) -> Result<(), StoreError> {
    let said: String = connection
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(|error| StoreError::from_sqlite(path, "checking it", error))?;
    if said == "ok" {
        return Ok(());
    }
    Err(StoreError::Damaged {
        path: path.to_owned(),
        why: said,
    })
}

/// Stored forms, made before the transaction begins.
struct Encoded {
    surveys: Vec<String>,
    changes: Vec<Vec<String>>,
}

impl Encoded {
    fn of(batch: &Batch) -> Result<Self, StoreError> {
        let surveys = batch
            .surveys
            .iter()
            .map(|stored| twin::encode_survey(&stored.survey));
        let changes = batch.alert_changes.iter().map(|(_, changes)| {
            changes
                .iter()
                .map(|stored| twin::encode_change(&stored.change))
                .collect()
        });
        Ok(Self {
            surveys: surveys.collect::<Result<_, _>>()?,
            changes: changes.collect::<Result<_, _>>()?,
        })
    }
}

type Written = Result<(), rusqlite::Error>;

fn write(transaction: &Transaction<'_>, batch: &Batch, encoded: &Encoded) -> Written {
    if batch.clear_derived {
        transaction.execute_batch("DELETE FROM derived; DELETE FROM survey; DELETE FROM alert_change;")?;
    }
    write_contents(transaction, &batch.contents)?;
    write_notes(transaction, &batch.notes)?;
    write_withdrawals(transaction, &batch.withdrawals)?;
    write_derived(transaction, batch)?;
    write_surveys(transaction, batch, &encoded.surveys)?;
    write_changes(transaction, batch, &encoded.changes)?;
    write_deliveries(transaction, &batch.deliveries)?;
    let mut meta = transaction.prepare_cached("INSERT OR REPLACE INTO meta (key, value) VALUES (?1, ?2)")?;
    for (key, value) in &batch.meta {
        meta.execute([key, value])?;
    }
    Ok(())
}

/// SQLite's integers end at 2⁶³ − 1, which no count of ours comes near.
fn number(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

fn write_contents(transaction: &Transaction<'_>, contents: &[Content]) -> Written {
    let mut statement = transaction.prepare_cached(
        "INSERT INTO content (hash, arrival, path, shown, bytes, mtime_us, state, superseded_by, why, importer, \
         importer_version, options_fingerprint, rows, put_away_path) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14) \
         ON CONFLICT (hash) DO UPDATE SET arrival = ?2, path = ?3, shown = ?4, bytes = ?5, mtime_us = ?6, state = ?7, \
         superseded_by = ?8, why = ?9, importer = ?10, importer_version = ?11, options_fingerprint = ?12, rows = ?13, \
         put_away_path = ?14",
    )?;
    for content in contents {
        statement.execute(params![
            content.hash,
            number(content.arrival),
            content.path,
            content.shown,
            number(content.bytes),
            content.mtime_us,
            content.state.word(),
            content.superseded_by,
            content.why,
            content.importer,
            content.importer_version,
            content.options_fingerprint,
            content.rows.map(number),
            content.put_away_path,
        ])?;
    }
    Ok(())
}

fn write_notes(transaction: &Transaction<'_>, notes: &[Note]) -> Written {
    let mut statement = transaction.prepare_cached(
        "INSERT OR REPLACE INTO note (arrival, path, content, text, state) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for note in notes {
        statement.execute(params![
            number(note.arrival),
            note.path,
            note.content,
            note.text,
            note.state.word()
        ])?;
    }
    Ok(())
}

fn write_withdrawals(transaction: &Transaction<'_>, withdrawals: &[Withdrawal]) -> Written {
    let mut statement = transaction.prepare_cached(
        "INSERT OR REPLACE INTO withdrawal (arrival, content, what, why, when_us, other) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for withdrawal in withdrawals {
        statement.execute(params![
            number(withdrawal.arrival),
            withdrawal.content,
            withdrawal.what.word(),
            withdrawal.why,
            withdrawal.when_us,
            withdrawal.other,
        ])?;
    }
    Ok(())
}

fn write_derived(transaction: &Transaction<'_>, batch: &Batch) -> Written {
    let mut gone =
        transaction.prepare_cached("DELETE FROM derived WHERE kind = ?1 AND tank = ?2 AND id = ?3")?;
    for (kind, tank, id) in &batch.derived_gone {
        gone.execute([kind, tank, id])?;
    }
    let mut statement = transaction.prepare_cached(
        "INSERT OR REPLACE INTO derived (kind, tank, id, fingerprint, body) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for derived in &batch.derived {
        statement.execute([
            &derived.kind,
            &derived.tank,
            &derived.id,
            &derived.fingerprint,
            &derived.body,
        ])?;
    }
    Ok(())
}

fn write_surveys(transaction: &Transaction<'_>, batch: &Batch, bodies: &[String]) -> Written {
    let mut gone = transaction.prepare_cached("DELETE FROM survey WHERE tank = ?1 AND id = ?2")?;
    for (tank, id) in &batch.surveys_gone {
        gone.execute([tank, id])?;
    }
    let mut statement = transaction.prepare_cached(
        "INSERT OR REPLACE INTO survey (tank, id, start_us, end_us, revision, fingerprint, body) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    for (StoredSurvey { survey, fingerprint }, body) in batch.surveys.iter().zip(bodies) {
        statement.execute(params![
            survey.tank,
            survey.id,
            survey.start.as_microsecond(),
            survey.end.as_microsecond(),
            survey.revision,
            fingerprint,
            body,
        ])?;
    }
    Ok(())
}

fn write_changes(transaction: &Transaction<'_>, batch: &Batch, bodies: &[Vec<String>]) -> Written {
    let mut gone = transaction.prepare_cached("DELETE FROM alert_change WHERE tank = ?1")?;
    let mut statement = transaction
        .prepare_cached("INSERT INTO alert_change (tank, seq, change_id, body) VALUES (?1, ?2, ?3, ?4)")?;
    for ((tank, changes), bodies) in batch.alert_changes.iter().zip(bodies) {
        gone.execute([tank])?;
        for (seq, (stored, body)) in changes.iter().zip(bodies).enumerate() {
            statement.execute(params![tank, number(seq as u64), stored.change_id, body])?;
        }
    }
    Ok(())
}

fn write_deliveries(transaction: &Transaction<'_>, deliveries: &[NewDelivery]) -> Written {
    let mut statement = transaction.prepare_cached(
        "INSERT INTO delivery (change_id, sink, notice, state, next_try_us, created_us) \
         VALUES (?1, ?2, ?3, 'waiting', ?4, ?5) ON CONFLICT (change_id, sink) DO NOTHING",
    )?;
    for new in deliveries {
        statement.execute(params![
            new.change_id,
            new.sink,
            new.notice,
            new.next_try_us,
            new.created_us
        ])?;
    }
    Ok(())
}
