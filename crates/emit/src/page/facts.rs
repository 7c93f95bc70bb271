//! The three facts under the answer: places, corals, and what this survey could have shown.

use crate::corals::{Standing, corals};
use crate::words::{counted, day_and_year, visible};
use crate::{Report, sign, words};
use maud::{Markup, html};
use undim_model::Flag;

/// A fact: what, and a line more.
pub(crate) struct Fact {
    pub(crate) what: String,
    pub(crate) more: String,
}

/// In the order in which they are shown.
pub(crate) fn facts(report: &Report<'_>) -> [Fact; 3] {
    [places(report), coral_fact(report), smallest(report)]
}

pub(super) fn markup(report: &Report<'_>) -> Markup {
    html! {
        section.facts {
            @for fact in facts(report) {
                div { strong { (fact.what) } span { (fact.more) } }
            }
        }
    }
}

fn places(report: &Report<'_>) -> Fact {
    let stations = &report.survey.stations;
    let good = stations
        .iter()
        .filter(|station| station.flag == Flag::Good)
        .count();
    let used = stations.iter().filter(|station| station.value.is_some()).count();
    Fact {
        what: format!("{good} of {} good", counted(stations.len(), "place", "places")),
        more: match words::read_again(report) {
            Some(again) => words::lower_first(again.trim_end_matches('.')),
            None if good == stations.len() => "none to read again".to_owned(),
            None => format!("{} with a value", counted(used, "place", "places")),
        },
    }
}

fn coral_fact(report: &Report<'_>) -> Fact {
    let corals = corals(report);
    if corals.is_empty() {
        return Fact {
            what: "No corals declared".to_owned(),
            more: "with them it would say who gets too little".to_owned(),
        };
    }
    let judged = corals.iter().filter(|coral| {
        matches!(
            coral.standing,
            Standing::Below | Standing::Inside | Standing::Above
        )
    });
    let judged = judged.count();
    let out: Vec<_> = corals
        .iter()
        .filter(|coral| matches!(coral.standing, Standing::Below | Standing::Above))
        .collect();
    let first = out.first().and_then(|coral| {
        Some(format!(
            "{}: {}, wanted {}",
            crate::text_cell::shown(&coral.coral.id),
            coral.light()?,
            coral.wanted()?
        ))
    });
    let mut more: Vec<String> = first.into_iter().collect();
    if out.len() > 1 {
        more.push(counted(out.len() - 1, "other", "others"));
    }
    if judged < corals.len() {
        more.push(format!("{} not judged", corals.len() - judged));
    }
    Fact {
        what: if judged == 0 {
            "No coral has a reading near".to_owned()
        } else {
            format!(
                "{} of {} out of range",
                out.len(),
                counted(corals.len(), "coral", "corals")
            )
        },
        more: match (judged, more.is_empty()) {
            (0, _) => "or no range of PPFD to hold it against".to_owned(),
            (_, true) => "by the nearest reading".to_owned(),
            (_, false) => more.join("; "),
        },
    }
}

fn smallest(report: &Report<'_>) -> Fact {
    let judgement = report.judgement;
    let against = judgement
        .baseline_date
        .filter(|_| sign::is_compared(report))
        .map(|date| format!("against {}", day_and_year(date)));
    match judgement.smallest_loss_percent {
        Some(loss) if sign::is_compared(report) => Fact {
            what: format!("A {} loss would show", visible(loss)),
            more: format!(
                "an even one, {}",
                against.unwrap_or_else(|| "against the baseline".to_owned())
            ),
        },
        Some(loss) => Fact {
            what: format!("A {} loss from here would show", visible(loss)),
            more: "an even one, from the next survey on".to_owned(),
        },
        None => Fact {
            what: "No loss could have been seen".to_owned(),
            more: if sign::is_compared(report) {
                "too few good places".to_owned()
            } else {
                "change shows from the second survey on".to_owned()
            },
        },
    }
}
