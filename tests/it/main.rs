//! Stories and outside checks.
