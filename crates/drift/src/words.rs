//! What an alert says: evidence with numbers, and next steps with the caution they need.
//!
//! Never is a keeper told to make light stronger to make up for a loss: a device that drifts would then have
//! corals burnt. Before cleaning it is said how far the light will jump, and to turn down first.

use crate::estimate::is_proven;
use crate::trend::Creep;
use jiff::civil::Date;
use undim_model::{AlertTarget, Cause, Change, Direction, TrendPoint, Upkeep};

const POWER: &str = "Work on a fixture only when it is unplugged and cool, clean it away from the water, and never look into blue or UV emitters. For anything about mains wiring follow local codes and ask a licensed electrician.";
const READ_AGAIN: &str = "Then read the same places with the same device, pumps off by timer, and turn the pumps back on afterwards.";
const BACK_UP: &str = "If the light has come back it was a film: return to the usual setting slowly, over weeks, and watch the corals.";
const LEAVE: &str = "Leave the settings as they are for now: what looks like less light may be the device, and corals have grown used to what they get.";

/// "12.3 % less", "3.3 % more", "no different".
pub(crate) fn amount(percent: f64) -> String {
    let size = format!("{:.1}", percent.abs());
    if size == "0.0" {
        "no different".to_owned()
    } else if percent < 0.0 {
        format!("{size} % less")
    } else {
        format!("{size} % more")
    }
}

/// "12.3 % less (95 %: 16.5 % less to 8.1 % less)".
pub(crate) fn spoken(change: &Change) -> String {
    format!(
        "{} (95 %: {} to {})",
        amount(change.percent),
        amount(change.ci95[0]),
        amount(change.ci95[1])
    )
}

/// The survey and its baseline, as sentences name them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Surveys<'a> {
    pub(crate) now: &'a str,
    pub(crate) date: Date,
    pub(crate) baseline: &'a str,
    pub(crate) baseline_date: Date,
}

/// Counts of places.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Places {
    /// Whose own estimate goes the alert's way.
    pub(crate) going: usize,
    /// All that are compared.
    pub(crate) all: usize,
}

/// A fixture that is spoken of beside the alert's target.
pub(crate) struct Beside<'a> {
    pub(crate) fixture: &'a str,
    pub(crate) change: &'a Change,
}

/// What an alert's evidence rests on.
pub(crate) struct Evidence<'a> {
    pub(crate) target: &'a AlertTarget,
    pub(crate) direction: Direction,
    pub(crate) change: &'a Change,
    /// What is left to the station, percent and its uncertainty, where the alert is about stations.
    pub(crate) left_over: Option<(f64, f64)>,
    pub(crate) surveys: Surveys<'a>,
    pub(crate) places: Places,
    pub(crate) beside: Vec<Beside<'a>>,
    pub(crate) trend: &'a [TrendPoint],
    /// Where a change begins to count, percent.
    pub(crate) half_threshold: f64,
    pub(crate) upkeep: &'a [&'a Upkeep],
    pub(crate) cause: Cause,
    pub(crate) creep: Option<Creep>,
}

/// The evidence of an open alert.
pub(crate) fn evidence(of: &Evidence<'_>) -> Vec<String> {
    let mut said = vec![what(of)];
    let Surveys {
        baseline,
        baseline_date,
        ..
    } = of.surveys;
    let word = match of.direction {
        Direction::Loss => "less",
        Direction::Gain => "more",
    };
    if of.places.all > 1 {
        said.push(format!(
            "{} of {} places compared read {word} than in the baseline survey {baseline} of {baseline_date}.",
            of.places.going, of.places.all
        ));
    }
    for beside in &of.beside {
        let proven = if is_proven(beside.change) {
            ""
        } else {
            ", no change proven"
        };
        said.push(format!(
            "For comparison, fixture {}: {}{proven}.",
            beside.fixture,
            spoken(beside.change)
        ));
    }
    said.extend(since(of));
    said.extend(why(of));
    said.push(upkeep(of.upkeep, baseline_date));
    said
}

fn what(of: &Evidence<'_>) -> String {
    let Surveys {
        now,
        date,
        baseline,
        baseline_date,
    } = of.surveys;
    let against = format!("survey {now} of {date} against {baseline} of {baseline_date}");
    match (of.target, of.left_over) {
        (AlertTarget::Tank, _) => format!("The whole tank gets {}: {against}.", spoken(of.change)),
        (AlertTarget::Fixture(id), _) => {
            format!("Fixture {id} gives {}: {against}.", spoken(of.change))
        }
        (AlertTarget::Station(id), Some((left, u))) => format!(
            "Place {id} gets {}: {against}. That is {} (k = 1: {u:.1}) than the rest of the tank leads to expect there, and two surveys running show it.",
            spoken(of.change),
            amount(left)
        ),
        (AlertTarget::Station(id) | AlertTarget::Path(id), None) => {
            format!("Place {id} gets {}: {against}.", spoken(of.change))
        }
        (AlertTarget::Stations(ids), _) => format!(
            "{} places ({}) get on average {} than the rest of the tank leads to expect there, in two surveys running: {against}. No change of the tank or of one fixture explains them together.",
            ids.len(),
            ids.join(", "),
            spoken(of.change)
        ),
        (AlertTarget::Path(id), Some(_)) => format!("{id} gets {}: {against}.", spoken(of.change)),
    }
}

/// Since when: the first of the run of surveys, up to now, that lie past half the threshold.
fn since(of: &Evidence<'_>) -> Option<String> {
    let past =
        |point: &TrendPoint| crate::estimate::toward(of.direction, point.change.percent) >= of.half_threshold;
    let run = of.trend.iter().rev().take_while(|point| past(point)).count();
    let first = of.trend.len().checked_sub(run)?;
    let shown = of.trend.get(first)?;
    let before = of.trend.get(first.checked_sub(1)?)?;
    let earlier = if first == 1 {
        format!("the baseline survey {} of {}", before.survey, before.date)
    } else {
        format!(
            "survey {} of {}, which showed {}",
            before.survey,
            before.date,
            amount(before.change.percent)
        )
    };
    Some(format!(
        "It began between {earlier}, and survey {} of {}, the first to show it ({}).",
        shown.survey,
        shown.date,
        amount(shown.change.percent)
    ))
}

fn why(of: &Evidence<'_>) -> Option<String> {
    match (of.cause, of.creep) {
        (Cause::LensDirty, _) => Some(
            "Only one fixture's light fell, which a film on its lens or cover does most often; its ageing, a fault or another level setting look the same. Cleaning it and reading again tells them apart.".to_owned(),
        ),
        (Cause::FixtureAgeing, Some(creep)) => Some(format!(
            "The loss grew over {} surveys in {} days, by about {:.1} % in 30 days: a straight line fits them better than any single step, as with fixtures that age. A device that drifts, or an even film on every lens, looks the same without a reference; reading the same places with a reference tells them apart.",
            creep.surveys,
            creep.days,
            -creep.percent_in_30_days
        )),
        _ => None,
    }
}

fn upkeep(entries: &[&Upkeep], since: Date) -> String {
    if entries.is_empty() {
        return format!("No upkeep is noted since {since}.");
    }
    let list: Vec<String> = entries
        .iter()
        .map(|entry| {
            let what = entry.what.word().replace('-', " ");
            match &entry.target {
                Some(target) => format!("{what} ({target}) on {}", entry.date),
                None => format!("{what} on {}", entry.date),
            }
        })
        .collect();
    format!("Upkeep noted since {since}: {}.", list.join(", "))
}

/// What to do, in order.
pub(crate) fn next_step(
    target: &AlertTarget,
    cause: Cause,
    direction: Direction,
    percent: f64,
) -> Vec<String> {
    let steps: Vec<String> = match (target, direction) {
        (AlertTarget::Tank | AlertTarget::Fixture(_), Direction::Gain) => gain(target, percent),
        (AlertTarget::Fixture(id), Direction::Loss) => vec![
            LEAVE.to_owned(),
            format!("Look at lens and cover of {id} from the side, with it switched off."),
            turn_down(id, "it", percent),
            POWER.to_owned(),
            READ_AGAIN.to_owned(),
            format!("{BACK_UP} If not, ageing or a fault of {id} is more likely: note what was done in the upkeep list."),
        ],
        (AlertTarget::Tank, Direction::Loss) => {
            let mut steps = vec![LEAVE.to_owned()];
            if cause != Cause::FixtureAgeing {
                steps.push("Compare the programme and levels that are set with those of the baseline day, and look whether the water is cloudy or yellow.".to_owned());
            }
            steps.extend([
                "Hire or borrow a reference and read the same places with both devices on one day: if the reference shows no loss, it is the device.".to_owned(),
                "Look at every lens and cover from the side, with the fixtures switched off; an even film looks like ageing.".to_owned(),
                turn_down("every fixture", "them", percent),
                POWER.to_owned(),
                READ_AGAIN.to_owned(),
                BACK_UP.to_owned(),
            ]);
            steps
        }
        (_, Direction::Loss) => vec![
            "Look whether a coral, rock, pump or growth now shades the place, and whether it was read where it always is.".to_owned(),
            "Clean hands and no dripping cables over the water; local codes on protection against mains over water apply.".to_owned(),
            "Read it again with the same device, pumps off by timer, and turn the pumps back on afterwards.".to_owned(),
            "If rock or corals were moved on purpose, enter it in the upkeep list.".to_owned(),
        ],
        (_, Direction::Gain) => vec![
            "Corals at this place get more than they are used to, and a sudden excess bleaches: watch them, and shade or move them, or turn down, if they pale.".to_owned(),
            "Look whether something that shaded the place has gone, and whether it was read where it always is.".to_owned(),
            "Read it again with the same device, pumps off by timer, and turn the pumps back on afterwards.".to_owned(),
        ],
    };
    steps
}

fn gain(target: &AlertTarget, percent: f64) -> Vec<String> {
    let what = match target {
        AlertTarget::Fixture(id) => id.as_str(),
        _ => "every fixture",
    };
    vec![
        format!(
            "Corals get more than they are used to, and a sudden excess bleaches: turn {what} down to about {:.0} % of its present setting, so that light is what it was, and go up from there slowly, over weeks, if more is wanted.",
            100.0 * 100.0 / (100.0 + percent.max(0.0))
        ),
        "Compare the programme and levels that are set, and how high the fixtures hang, with those of the baseline day; look for daylight or room light.".to_owned(),
        "Read the same places again with the same device, pumps off by timer, and turn the pumps back on afterwards. A reference read beside it tells a change of the device from a change of the light.".to_owned(),
        POWER.to_owned(),
    ]
}

/// A loss of p % comes back as p / (100 − p) of what is left.
fn turn_down(what: &str, it: &str, percent: f64) -> String {
    let lost = (-percent).clamp(0.0, 99.0);
    format!(
        "Before cleaning, turn {what} down to about {:.0} % of the present setting: cleaning may let the light of {it} jump by {:.0} % at once, and a sudden excess bleaches corals.",
        100.0 - lost,
        100.0 * lost / (100.0 - lost)
    )
}

/// How the target is called in a sentence.
pub(crate) fn name(target: &AlertTarget) -> String {
    match target {
        AlertTarget::Tank => "the whole tank".to_owned(),
        AlertTarget::Fixture(id) => format!("fixture {id}"),
        AlertTarget::Station(id) | AlertTarget::Path(id) => format!("place {id}"),
        AlertTarget::Stations(ids) => format!("{} places ({})", ids.len(), ids.join(", ")),
    }
}

/// The evidence of an alert that closes because its change went back.
pub(crate) fn came_back(
    target: &AlertTarget,
    worst_percent: f64,
    change: &Change,
    surveys: Surveys<'_>,
) -> Vec<String> {
    vec![format!(
        "The light of {} came back by {:.1} points of a hundred: it stood at {} at its furthest and now, in survey {} of {}, at {}, against {} of {}.",
        name(target),
        (change.percent - worst_percent).abs(),
        amount(worst_percent),
        surveys.now,
        surveys.date,
        spoken(change),
        surveys.baseline,
        surveys.baseline_date
    )]
}

/// What to do when an alert closes.
pub(crate) fn after_closing(direction: Direction) -> Vec<String> {
    match direction {
        Direction::Loss => vec![
            "Turn the pumps back on, if they are still off.".to_owned(),
            "Corals have grown used to less: if the settings were turned down, return to them slowly, over weeks; if not, turn down now and do so. Watch the corals.".to_owned(),
        ],
        Direction::Gain => vec![
            "Turn the pumps back on, if they are still off.".to_owned(),
            "Watch the corals for some weeks: what too much light did can show late.".to_owned(),
        ],
    }
}
