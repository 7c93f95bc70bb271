//! The correction chain of a device, with its uncertainty.
