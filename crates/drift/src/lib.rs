//! Judge: change against the baseline, and the life of an alert.
