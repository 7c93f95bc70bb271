//! Tests of take-in.
