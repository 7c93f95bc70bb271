//! The ledger: files, surveys, alerts and deliveries in SQLite.
