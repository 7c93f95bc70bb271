//! The worker's side of an importer: sandbox, load, check, call.
