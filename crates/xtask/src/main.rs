//! Chores: the demo, the distribution, the house rules.

fn main() {}
