//! An importer that misbehaves on request; for tests only, never shipped.
