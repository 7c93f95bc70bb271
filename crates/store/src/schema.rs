//! The forms that the ledger has had, and the way from each to the next.

use crate::StoreError;
use rusqlite::{Connection, TransactionBehavior};
use std::path::Path;

/// The form that this program works with.
pub const VERSION: i64 = MIGRATIONS.len() as i64;

/// Number `n` of the list leads from form n to form n + 1. A migration is never changed once released.
const MIGRATIONS: [&str; 2] = [include_str!("migrations/1.sql"), include_str!("migrations/2.sql")];

/// `application_id` of a ledger: "undi" in ASCII.
const APPLICATION: i64 = 0x756e_6469;

/// The oldest SQLite without the write-ahead-log reset race (SQLite documentation, "Write-Ahead Logging").
pub(crate) const OLDEST_SQLITE: (i32, &str) = (3_051_003, "3.51.3");

/// Refuses a SQLite that can lose writes.
pub(crate) fn check_sqlite() -> Result<(), StoreError> {
    if rusqlite::version_number() < OLDEST_SQLITE.0 {
        return Err(StoreError::TooOld {
            found: rusqlite::version(),
            needed: OLDEST_SQLITE.1,
        });
    }
    Ok(())
}

/// The form of a ledger; 0 for a new one. Refuses other databases and newer forms.
pub(crate) fn version_of(connection: &Connection, path: &Path) -> Result<i64, StoreError> {
    let ask = |pragma: &str| -> Result<i64, StoreError> {
        connection
            .query_row(pragma, [], |row| row.get(0))
            .map_err(|error| StoreError::from_sqlite(path, "reading the form", error))
    };
    let (application, found) = (ask("PRAGMA application_id")?, ask("PRAGMA user_version")?);
    let tables = ask("SELECT count(*) FROM sqlite_schema")?;
    let is_new = application == 0 && found == 0 && tables == 0;
    if !is_new && application != APPLICATION {
        return Err(StoreError::Foreign {
            path: path.to_owned(),
        });
    }
    if found > VERSION {
        return Err(StoreError::Newer {
            path: path.to_owned(),
            found,
            known: VERSION,
        });
    }
    Ok(found)
}

/// Brings a ledger up to this program's form, each step whole or not at all.
pub(crate) fn migrate(connection: &mut Connection, path: &Path, from: i64) -> Result<(), StoreError> {
    let failed = |error| StoreError::from_sqlite(path, "bringing it up to date", error);
    let steps = MIGRATIONS
        .iter()
        .enumerate()
        .skip(usize::try_from(from).unwrap_or(0));
    for (number, step) in steps {
        let transaction = connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(failed)?;
        transaction.execute_batch(step).map_err(failed)?;
        transaction
            .pragma_update(None, "application_id", APPLICATION)
            .and_then(|()| transaction.pragma_update(None, "user_version", number as i64 + 1))
            .and_then(|()| transaction.commit())
            .map_err(failed)?;
    }
    Ok(())
}
