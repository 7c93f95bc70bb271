//! Units, times and quality tests of single readings and bursts.
