//! What an alert says: evidence with numbers, in whole sentences.

use crate::cause::Reading;
use crate::estimate::{TWO_SIDED_95, is_proven};
use crate::joint::Class;
use crate::trend::Creep;
use jiff::civil::Date;
use undim_model::{AlertTarget, Cause, Change, Direction, TrendPoint, Upkeep};

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

/// "12.3 % less (95 %: 8.1 to 16.5 % less)".
pub(crate) fn spoken(change: &Change) -> String {
    let [low, high] = change.ci95;
    let interval = if low.signum() == high.signum() {
        let (small, large) = if low.abs() < high.abs() {
            (low, high)
        } else {
            (high, low)
        };
        format!("{:.1} to {}", small.abs(), amount(large))
    } else {
        format!("{} to {}", amount(low), amount(high))
    };
    format!("{} (95 %: {interval})", amount(change.percent))
}

/// "14 February 2026".
pub(crate) fn day(date: Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}

/// The days of the survey and of its baseline, as sentences name them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Days {
    pub(crate) now: Date,
    pub(crate) baseline: Date,
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
    pub(crate) days: Days,
    pub(crate) places: Places,
    pub(crate) beside: Vec<Beside<'a>>,
    pub(crate) trend: &'a [TrendPoint],
    /// Where a change begins to count, percent.
    pub(crate) half_threshold: f64,
    pub(crate) upkeep: &'a [&'a Upkeep],
    pub(crate) reading: &'a Reading,
    pub(crate) creep: Option<Creep>,
    /// Ids of the fixtures that shapes are counted by.
    pub(crate) fixtures: &'a [String],
}

/// The evidence of an open alert.
pub(crate) fn evidence(of: &Evidence<'_>) -> Vec<String> {
    let mut said = vec![what(of)];
    let word = match of.direction {
        Direction::Loss => "less",
        Direction::Gain => "more",
    };
    if of.places.all > 1 {
        said.push(format!(
            "{} of {} places that both surveys hold read {word}.",
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
            "For comparison, the {} fixture: {}{proven}.",
            beside.fixture,
            spoken(beside.change)
        ));
    }
    said.extend(since(of));
    said.extend(pattern(of));
    said.extend(why(of));
    said.push(upkeep(of.upkeep, of.days.baseline));
    said
}

fn what(of: &Evidence<'_>) -> String {
    let against = format!("{} against {}", day(of.days.now), day(of.days.baseline));
    let change = spoken(of.change);
    match (of.target, of.left_over) {
        (AlertTarget::Tank, _) => format!("The whole tank gets {change}: {against}."),
        (AlertTarget::Fixture(id), _) => format!("The {id} fixture gives {change}: {against}."),
        (AlertTarget::Station(id), Some((left, u))) => format!(
            "{id} gets {change}: {against}. That is {} (± {:.1} with 95 %) than the rest of the tank leads to expect there, and two surveys running show it.",
            amount(left),
            TWO_SIDED_95 * u
        ),
        (AlertTarget::Stations(ids), _) => format!(
            "{} places ({}) get on average {change} than the rest of the tank leads to expect there, in two surveys running: {against}. No change of the tank or of one fixture explains them together.",
            ids.len(),
            ids.join(", ")
        ),
        (AlertTarget::Station(id) | AlertTarget::Path(id), _) => format!("{id} gets {change}: {against}."),
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
        format!("the baseline of {}", day(before.date))
    } else {
        format!("{} ({})", day(before.date), amount(before.change.percent))
    };
    Some(format!(
        "It began between {earlier} and {} ({}).",
        day(shown.date),
        amount(shown.change.percent)
    ))
}

/// What the pattern over places and surveys says, and what it can't.
fn pattern(of: &Evidence<'_>) -> Option<String> {
    let named: Vec<String> = of
        .reading
        .classes
        .iter()
        .filter(|(_, p)| *p >= 0.01)
        .take(3)
        .map(|(class, p)| format!("{} {:.0} in 100", shape(*class, of.fixtures), 100.0 * p.min(0.99)))
        .collect();
    if named.len() == 1 && of.reading.classes.len() == 1 {
        return None;
    }
    Some(format!(
        "By its pattern over places and surveys: {}.",
        named.join(", ")
    ))
}

/// How light falls off with a shape.
fn shape(class: Class, fixtures: &[String]) -> String {
    match class {
        Class::Even => "all places alike".to_owned(),
        Class::Water => "more, the longer the way through the water".to_owned(),
        Class::Zero => "more, the dimmer the place, as by a shift of the device's zero".to_owned(),
        Class::Fixture(at) => format!(
            "more, the more of its light a place gets from the {} fixture",
            fixtures.get(at).map_or("other", String::as_str)
        ),
        Class::Unexplained => "along no pattern that is known".to_owned(),
    }
}

fn why(of: &Evidence<'_>) -> Option<String> {
    match (of.reading.cause, of.creep) {
        (Cause::LensDirty, _) => Some(
            "Only one fixture's light fell. A film on its lens or cover does that most often; ageing, a fault or another level look the same. Cleaning it and reading again tells them apart.".to_owned(),
        ),
        (_, Some(creep)) => Some(format!(
            "It grew over {} surveys in {} days, by about {:.1} % in 30 days.{}",
            creep.surveys,
            creep.days,
            creep.percent_in_30_days.abs(),
            if of.reading.cause == Cause::FixtureAgeing {
                " Fixtures that age do that; a device that drifts, growth on its sensor, or an even film on every lens look the same without a reference."
            } else {
                ""
            }
        )),
        _ => None,
    }
}

fn upkeep(entries: &[&Upkeep], since: Date) -> String {
    if entries.is_empty() {
        return format!("No upkeep is noted since {}.", day(since));
    }
    let list: Vec<String> = entries.iter().map(|entry| done(entry)).collect();
    format!("Upkeep noted since {}: {}.", day(since), list.join(", "))
}

/// "lens cleaned (west) on 20 March 2026".
pub(crate) fn done(entry: &Upkeep) -> String {
    let what = entry.what.word().replace('-', " ");
    match &entry.target {
        Some(target) => format!("{what} ({target}) on {}", day(entry.date)),
        None => format!("{what} on {}", day(entry.date)),
    }
}

/// Where the light changed, in a sentence.
fn place(target: &AlertTarget) -> String {
    match target {
        AlertTarget::Tank => "in the whole tank".to_owned(),
        AlertTarget::Fixture(id) => format!("under the {id} fixture"),
        AlertTarget::Station(id) | AlertTarget::Path(id) => format!("at {id}"),
        AlertTarget::Stations(ids) => format!("at {} places ({})", ids.len(), ids.join(", ")),
    }
}

/// How much more (or less) light there is than at a change's furthest, percent of the light then.
pub(crate) fn back_percent(worst_percent: f64, now_percent: f64) -> f64 {
    100.0 * ((100.0 + now_percent) / (100.0 + worst_percent).max(1.0) - 1.0)
}

/// The evidence of an alert that closes because its change went back.
pub(crate) fn came_back(
    target: &AlertTarget,
    worst_percent: f64,
    change: &Change,
    days: Days,
    cleaned: Option<&Upkeep>,
) -> Vec<String> {
    let mut said = vec![format!(
        "The light {} is back: it stood at {} at its furthest and stands at {}: {} against {}. That is {} light than at its furthest.",
        place(target),
        amount(worst_percent),
        spoken(change),
        day(days.now),
        day(days.baseline),
        amount(back_percent(worst_percent, change.percent)),
    )];
    said.extend(cleaned.map(|entry| {
        format!(
            "In between, by the upkeep list: {}. So it was most likely a film.",
            done(entry)
        )
    }));
    said
}
