//! Reading the ledger.

use crate::rows::{
    Content, ContentState, Counts, Decision, Delivery, DeliveryState, Derived, Note, NoteState, StoredChange,
    StoredSurvey, SurveyHead, Withdrawal,
};
use crate::{StoreError, schema, twin};
use rusqlite::types::Type;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Params, Row};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Looks at the ledger, also while another program writes to it.
#[derive(Debug)]
pub struct Reader {
    pub(crate) connection: Connection,
    pub(crate) path: PathBuf,
}

type RowResult<T> = Result<T, rusqlite::Error>;

const CONTENT: &str = "SELECT hash, arrival, path, shown, bytes, mtime_us, state, superseded_by, why, importer, \
     importer_version, options_fingerprint, rows, put_away_path FROM content";
const NOTE: &str = "SELECT arrival, path, content, text, state FROM note";
const DELIVERY: &str = "SELECT id, change_id, sink, notice, state, attempts, next_try_us, last_error, created_us, \
     sent_us FROM delivery";

impl Reader {
    /// Opens a ledger for looking only; `None` where there is none yet.
    pub fn open_read_only(path: &Path) -> Result<Option<Self>, StoreError> {
        schema::check_sqlite()?;
        if !path.exists() {
            return Ok(None);
        }
        let failed = |error| StoreError::from_sqlite(path, "opening it to read", error);
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(failed)?;
        connection.busy_timeout(Duration::from_secs(2)).map_err(failed)?;
        let found = schema::version_of(&connection, path)?;
        if found == 0 {
            return Ok(None);
        }
        if found < schema::VERSION {
            return Err(StoreError::Older {
                path: path.to_owned(),
                found,
                known: schema::VERSION,
            });
        }
        Ok(Some(Self {
            connection,
            path: path.to_owned(),
        }))
    }

    /// Where the ledger lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// A copy of the whole ledger in a new file, as it stands now.
    pub fn copy_to(&self, path: &Path) -> Result<(), StoreError> {
        self.connection
            .execute("VACUUM INTO ?1", [path.to_string_lossy()])
            .map(|_| ())
            .map_err(|error| StoreError::from_sqlite(&self.path, "copying it", error))
    }

    /// The content with this hash.
    pub fn by_hash(&self, hash: &str) -> Result<Option<Content>, StoreError> {
        self.one(&format!("{CONTENT} WHERE hash = ?1"), [hash], content)
    }

    /// Every content in order of arrival.
    pub fn all_in_order(&self) -> Result<Vec<Content>, StoreError> {
        self.all(&format!("{CONTENT} ORDER BY arrival"), [], content)
    }

    /// The contents in one state, in order of arrival.
    pub fn in_state(&self, state: ContentState) -> Result<Vec<Content>, StoreError> {
        self.all(
            &format!("{CONTENT} WHERE state = ?1 ORDER BY arrival"),
            [state.word()],
            content,
        )
    }

    /// The content that last came from an inbox path.
    pub fn last_at_path(&self, path: &[u8]) -> Result<Option<Content>, StoreError> {
        self.one(
            &format!("{CONTENT} WHERE path = ?1 ORDER BY arrival DESC LIMIT 1"),
            [path],
            content,
        )
    }

    /// Contents whose path, as shown, or whose hash is `source`, or whose hash begins with it (at least
    /// eight digits), in order of arrival.
    pub fn by_source(&self, source: &str) -> Result<Vec<Content>, StoreError> {
        self.all(
            &format!(
                "{CONTENT} WHERE shown = ?1 OR hash = ?1 OR (length(?1) >= 8 AND substr(hash, 1, length(?1)) = ?1) \
                 ORDER BY arrival"
            ),
            [source],
            content,
        )
    }

    /// The next number in the order of all that comes in, from 1.
    pub fn next_arrival(&self) -> Result<u64, StoreError> {
        let last = self.one(
            "SELECT max((SELECT coalesce(max(arrival), 0) FROM content), (SELECT coalesce(max(arrival), 0) FROM note), \
             (SELECT coalesce(max(arrival), 0) FROM withdrawal))",
            [],
            |row| count(row, 0),
        )?;
        Ok(last.unwrap_or(0) + 1)
    }

    /// Everything that was withdrawn or reinstated, in order of arrival.
    pub fn withdrawals(&self) -> Result<Vec<Withdrawal>, StoreError> {
        self.all(
            "SELECT arrival, content, what, why, when_us, other FROM withdrawal ORDER BY arrival",
            [],
            withdrawal,
        )
    }

    /// Every note in order of arrival.
    pub fn notes(&self) -> Result<Vec<Note>, StoreError> {
        self.all(&format!("{NOTE} ORDER BY arrival"), [], note)
    }

    /// The note that speaks for a content: the last one attached to it.
    pub fn note_of(&self, hash: &str) -> Result<Option<Note>, StoreError> {
        self.one(
            &format!("{NOTE} WHERE content = ?1 AND state = 'attached' ORDER BY arrival DESC LIMIT 1"),
            [hash],
            note,
        )
    }

    /// The last note that waits for a file at an inbox path.
    pub fn note_waiting_for(&self, path: &[u8]) -> Result<Option<Note>, StoreError> {
        self.one(
            &format!("{NOTE} WHERE path = ?1 AND state = 'waiting' ORDER BY arrival DESC LIMIT 1"),
            [path],
            note,
        )
    }

    /// Something derived.
    pub fn derived(&self, kind: &str, tank: &str, id: &str) -> Result<Option<Derived>, StoreError> {
        self.one(
            "SELECT kind, tank, id, fingerprint, body FROM derived WHERE kind = ?1 AND tank = ?2 AND id = ?3",
            [kind, tank, id],
            derived,
        )
    }

    /// All of one kind and tank, by id.
    pub fn derived_of(&self, kind: &str, tank: &str) -> Result<Vec<Derived>, StoreError> {
        self.all(
            "SELECT kind, tank, id, fingerprint, body FROM derived WHERE kind = ?1 AND tank = ?2 ORDER BY id",
            [kind, tank],
            derived,
        )
    }

    /// The tanks that have surveys or alerts, by id.
    pub fn tanks(&self) -> Result<Vec<String>, StoreError> {
        self.all(
            "SELECT tank FROM survey UNION SELECT tank FROM alert_change WHERE tank <> '' \
             UNION SELECT tank FROM derived WHERE kind = 'mounted' ORDER BY tank",
            [],
            |row| row.get(0),
        )
    }

    /// One survey.
    pub fn survey(&self, tank: &str, id: &str) -> Result<Option<StoredSurvey>, StoreError> {
        self.one(
            "SELECT tank, id, fingerprint, body FROM survey WHERE tank = ?1 AND id = ?2",
            [tank, id],
            body,
        )?
        .map(stored_survey)
        .transpose()
    }

    /// A tank's surveys by their start, then id.
    pub fn surveys(&self, tank: &str) -> Result<Vec<StoredSurvey>, StoreError> {
        self.all(
            "SELECT tank, id, fingerprint, body FROM survey WHERE tank = ?1 ORDER BY start_us, id",
            [tank],
            body,
        )?
        .into_iter()
        .map(stored_survey)
        .collect()
    }

    /// The same without reading them whole.
    pub fn survey_heads(&self, tank: &str) -> Result<Vec<SurveyHead>, StoreError> {
        self.all(
            "SELECT tank, id, start_us, end_us, revision, fingerprint FROM survey WHERE tank = ?1 ORDER BY start_us, id",
            [tank],
            |row| {
                Ok(SurveyHead {
                    tank: row.get(0)?,
                    id: row.get(1)?,
                    start_us: row.get(2)?,
                    end_us: row.get(3)?,
                    revision: row.get(4)?,
                    fingerprint: row.get(5)?,
                })
            },
        )
    }

    /// A tank's changes of alerts, in their order.
    pub fn alert_changes(&self, tank: &str) -> Result<Vec<StoredChange>, StoreError> {
        self.all(
            "SELECT change_id, body FROM alert_change WHERE tank = ?1 ORDER BY seq",
            [tank],
            |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?)),
        )?
        .into_iter()
        .map(|(change_id, body)| {
            let change = twin::decode_change(&body)?;
            Ok(StoredChange { change_id, change })
        })
        .collect()
    }

    /// True where a notice of this change was ever to go out.
    pub fn was_told(&self, change_id: &str) -> Result<bool, StoreError> {
        let told = self.one(
            "SELECT 1 FROM delivery WHERE change_id = ?1 LIMIT 1",
            [change_id],
            |_| Ok(()),
        )?;
        Ok(told.is_some())
    }

    /// Notices whose time has come, the oldest first.
    pub fn due(&self, now_us: i64) -> Result<Vec<Delivery>, StoreError> {
        self.all(
            &format!("{DELIVERY} WHERE state = 'waiting' AND next_try_us <= ?1 ORDER BY id"),
            [now_us],
            delivery,
        )
    }

    /// When the next notice is due, µs since 1970.
    pub fn next_due_us(&self) -> Result<Option<i64>, StoreError> {
        self.one(
            "SELECT next_try_us FROM delivery WHERE state = 'waiting' ORDER BY next_try_us LIMIT 1",
            [],
            |row| row.get(0),
        )
    }

    /// Notices that have not gone out, those given up too, the oldest first.
    pub fn undelivered(&self) -> Result<Vec<Delivery>, StoreError> {
        self.all(
            &format!("{DELIVERY} WHERE state <> 'sent' ORDER BY id"),
            [],
            delivery,
        )
    }

    /// A value kept by name.
    pub fn meta(&self, key: &str) -> Result<Option<String>, StoreError> {
        self.one("SELECT value FROM meta WHERE key = ?1", [key], |row| row.get(0))
    }

    /// How much there is.
    pub fn counts(&self) -> Result<Counts, StoreError> {
        let counted = self.one(
            "SELECT (SELECT count(*) FROM content WHERE state = 'archived'), \
                    (SELECT count(*) FROM content WHERE state = 'taken'), \
                    (SELECT count(*) FROM content WHERE state = 'set-aside'), \
                    (SELECT count(*) FROM content WHERE state = 'superseded'), \
                    (SELECT count(*) FROM content WHERE state = 'withdrawn'), \
                    (SELECT count(*) FROM note WHERE state = 'waiting'), \
                    (SELECT count(*) FROM survey), \
                    (SELECT count(*) FROM delivery WHERE state = 'waiting'), \
                    (SELECT count(*) FROM delivery WHERE state = 'given-up')",
            [],
            |row| {
                Ok(Counts {
                    archived: count(row, 0)?,
                    taken: count(row, 1)?,
                    set_aside: count(row, 2)?,
                    superseded: count(row, 3)?,
                    withdrawn: count(row, 4)?,
                    notes_waiting: count(row, 5)?,
                    surveys: count(row, 6)?,
                    deliveries_waiting: count(row, 7)?,
                    deliveries_given_up: count(row, 8)?,
                })
            },
        )?;
        Ok(counted.unwrap_or_default())
    }

    /// Checks every page and index; an empty list is a sound ledger.
    pub fn integrity_check(&self) -> Result<Vec<String>, StoreError> {
        let said: Vec<String> = self.all("PRAGMA integrity_check", [], |row| row.get(0))?;
        Ok(said.into_iter().filter(|line| line != "ok").collect())
    }

    fn one<T>(
        &self,
        sql: &str,
        parameters: impl Params,
        read: impl FnOnce(&Row<'_>) -> RowResult<T>,
    ) -> Result<Option<T>, StoreError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.query_row(parameters, read).optional())
            .map_err(|error| StoreError::from_sqlite(&self.path, "reading", error))
    }

    fn all<T>(
        &self,
        sql: &str,
        parameters: impl Params,
        read: impl FnMut(&Row<'_>) -> RowResult<T>,
    ) -> Result<Vec<T>, StoreError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.query_map(parameters, read)?.collect())
            .map_err(|error| StoreError::from_sqlite(&self.path, "reading", error))
    }
}

/// A count or size; the columns hold none that is negative.
fn count(row: &Row<'_>, index: usize) -> RowResult<u64> {
    let number: i64 = row.get(index)?;
    u64::try_from(number).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(index, number))
}

fn word<T>(row: &Row<'_>, index: usize, from_word: fn(&str) -> Option<T>) -> RowResult<T> {
    let word: String = row.get(index)?;
    from_word(&word).ok_or_else(|| {
        let text = format!("the word \"{word}\" is not known");
        rusqlite::Error::FromSqlConversionFailure(index, Type::Text, text.into())
    })
}

fn content(row: &Row<'_>) -> RowResult<Content> {
    let rows: Option<i64> = row.get(12)?;
    Ok(Content {
        hash: row.get(0)?,
        arrival: count(row, 1)?,
        path: row.get(2)?,
        shown: row.get(3)?,
        bytes: count(row, 4)?,
        mtime_us: row.get(5)?,
        state: word(row, 6, ContentState::from_word)?,
        superseded_by: row.get(7)?,
        why: row.get(8)?,
        importer: row.get(9)?,
        importer_version: row.get(10)?,
        options_fingerprint: row.get(11)?,
        rows: rows.map(|_| count(row, 12)).transpose()?,
        put_away_path: row.get(13)?,
    })
}

fn withdrawal(row: &Row<'_>) -> RowResult<Withdrawal> {
    Ok(Withdrawal {
        arrival: count(row, 0)?,
        content: row.get(1)?,
        what: word(row, 2, Decision::from_word)?,
        why: row.get(3)?,
        when_us: row.get(4)?,
        other: row.get(5)?,
    })
}

fn note(row: &Row<'_>) -> RowResult<Note> {
    Ok(Note {
        arrival: count(row, 0)?,
        path: row.get(1)?,
        content: row.get(2)?,
        text: row.get(3)?,
        state: word(row, 4, NoteState::from_word)?,
    })
}

fn derived(row: &Row<'_>) -> RowResult<Derived> {
    Ok(Derived {
        kind: row.get(0)?,
        tank: row.get(1)?,
        id: row.get(2)?,
        fingerprint: row.get(3)?,
        body: row.get(4)?,
    })
}

fn delivery(row: &Row<'_>) -> RowResult<Delivery> {
    Ok(Delivery {
        id: row.get(0)?,
        change_id: row.get(1)?,
        sink: row.get(2)?,
        notice: row.get(3)?,
        state: word(row, 4, DeliveryState::from_word)?,
        attempts: row.get(5)?,
        next_try_us: row.get(6)?,
        last_error: row.get(7)?,
        created_us: row.get(8)?,
        sent_us: row.get(9)?,
    })
}

/// Tank, id, fingerprint and stored form of a survey.
fn body(row: &Row<'_>) -> RowResult<[String; 4]> {
    Ok([row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?])
}

fn stored_survey([tank, id, fingerprint, body]: [String; 4]) -> Result<StoredSurvey, StoreError> {
    let survey = twin::decode_survey(&body).map_err(|error| match error {
        StoreError::NotUnderstood { why, .. } => {
            StoreError::not_understood(format!("survey {id} of {tank}"), &why)
        }
        other => other,
    })?;
    Ok(StoredSurvey { survey, fingerprint })
}
