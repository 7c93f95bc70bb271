//! The daemon's side of an importer: find, run in a worker, check every frame.
