//! Tests of the importer as a whole.
