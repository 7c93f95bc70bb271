//! How commands name the past surveys that an edit of the configuration changes.

use super::say;
use crate::engine::Changing;
use serde::Serialize;
use std::collections::BTreeMap;

/// One of them, as JSON.
#[derive(Serialize)]
pub(super) struct Changed<'a> {
    tank: &'a str,
    survey: &'a str,
    what: &'a str,
}

/// All of them, as JSON.
pub(super) fn changed(changing: &[Changing]) -> Vec<Changed<'_>> {
    changing
        .iter()
        .map(|one| Changed {
            tank: &one.tank,
            survey: &one.survey,
            what: one.what,
        })
        .collect()
}

/// Names them, by tank and by what changes; nothing where there are none.
pub(super) fn tell_changing(changing: &[Changing], head: &str) {
    let mut by: BTreeMap<(&str, &str), Vec<&str>> = BTreeMap::new();
    for one in changing {
        by.entry((&one.tank, one.what)).or_default().push(&one.survey);
    }
    if by.is_empty() {
        return;
    }
    say::line(&format!("{head}:"));
    for ((tank, what), surveys) in by {
        let text = format!("{tank}, {what}: {}", surveys.join(", "));
        say::line(&say::screen().wrapped(&text, "  ", "      "));
    }
}
