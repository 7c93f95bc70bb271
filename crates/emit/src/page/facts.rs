//! The three facts under the answer: places, corals, and what this survey could have shown.

use crate::corals::{Standing, corals};
use crate::words::{counted, day_and_year, upper_first, visible_with_article};
use crate::{Report, sign, words};
use maud::{Markup, html};
use undim_model::{Flag, Verdict};

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
    let again = &report.survey.read_again;
    let good = stations
        .iter()
        .filter(|station| station.flag == Flag::Good)
        .filter(|station| again.iter().all(|again| again.station != station.station))
        .count();
    let used = stations.iter().filter(|station| station.value.is_some()).count();
    Fact {
        what: format!("{good} of {} good", counted(stations.len(), "place", "places")),
        more: match words::read_again(report) {
            Some(_) if again.len() > 4 => format!("{} to read again", again.len()),
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
    let sure = out.iter().filter(|coral| coral.is_sure).count();
    let unsteady = corals.iter().filter(|coral| coral.is_unsteady).count();
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
        more.push(counted(out.len() - 1, "more", "more"));
    }
    if unsteady > 0 {
        more.push("read in unsteady light".to_owned());
    }
    if judged < corals.len() {
        more.push(format!("{} not judged", corals.len() - judged));
    }
    Fact {
        what: if out.is_empty() && judged == corals.len() {
            format!(
                "{} {}",
                counted(corals.len(), "coral", "corals"),
                if unsteady > 0 {
                    "perhaps in range"
                } else {
                    "in range"
                }
            )
        } else if judged == 0 {
            "No coral has a reading near".to_owned()
        } else {
            format!(
                "{} of {} {}",
                out.len(),
                counted(corals.len(), "coral", "corals"),
                if sure == 0 && !out.is_empty() {
                    "perhaps out of range"
                } else {
                    "out of range"
                }
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
        _ if judgement.verdict == Verdict::TooPoor => Fact {
            what: "No loss could be seen".to_owned(),
            more: "too few places with a steady light".to_owned(),
        },
        Some(loss) if sign::is_compared(report) => Fact {
            what: format!("{} loss would show", upper_first(&visible_with_article(loss))),
            more: format!(
                "an even one, {}",
                against.unwrap_or_else(|| "against the baseline".to_owned())
            ),
        },
        Some(loss) => Fact {
            what: format!(
                "{} loss from here would show",
                upper_first(&visible_with_article(loss))
            ),
            more: "an even one, from the next survey on".to_owned(),
        },
        None if sign::is_compared(report) => Fact {
            what: "No loss could be seen".to_owned(),
            more: "too few good places".to_owned(),
        },
        None => Fact {
            what: "Change shows from the next survey on".to_owned(),
            more: if judgement.verdict == Verdict::Baseline {
                "this one is what it is held against".to_owned()
            } else {
                "nothing to hold this one against".to_owned()
            },
        },
    }
}
