//! Keeps watch over the light in a coral tank.

fn main() {}
