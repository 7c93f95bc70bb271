//! Causes in plain words.

use super::{NO_BREAK, either, list};
use crate::text_cell::shown;
use undim_model::{Alert, AlertTarget, Cause};

/// A cause as it stands in a sentence, for the place where the light changed.
pub fn cause_phrase(cause: Cause, target: &AlertTarget) -> String {
    let fixture = match target {
        AlertTarget::Fixture(id) => Some(shown(id)),
        _ => None,
    };
    let of_fixture = |one: &str, all: &str| match &fixture {
        Some(id) => one.replace("{}", id),
        None => all.to_owned(),
    };
    match cause {
        Cause::FixtureAgeing => of_fixture(
            "the {} fixture giving less with age",
            "the fixtures giving less with age",
        ),
        Cause::LensDirty => of_fixture("a film on the {} lens or cover", "a film on the lenses or covers"),
        Cause::WaterClarity => "the water's clarity or colour".to_owned(),
        Cause::DeviceDrift => "the device itself reading differently".to_owned(),
        Cause::LevelsChanged => "another light programme or level".to_owned(),
        Cause::FixtureFault => of_fixture("a fault in the {} fixture", "a fault in a fixture"),
        Cause::FixtureMoved => of_fixture("the {} fixture hanging elsewhere", "a fixture hanging elsewhere"),
        Cause::RockMoved => "rockwork that was moved".to_owned(),
        Cause::StationShaded => "something that shades the place".to_owned(),
        Cause::SensorFouled => "growth on the sensor".to_owned(),
        Cause::RoomLight => "daylight or a light in the room".to_owned(),
        Cause::PositionOff => "a reading taken at another place".to_owned(),
        Cause::Unexplained => "none of the known causes".to_owned(),
    }
}

/// A cause in a list of those that look the same.
fn in_short(cause: Cause) -> &'static str {
    match cause {
        Cause::FixtureAgeing => "ageing",
        Cause::LensDirty => "a film on lenses or covers",
        Cause::WaterClarity => "the water's clarity",
        Cause::DeviceDrift => "the device itself",
        Cause::LevelsChanged => "another level",
        Cause::FixtureFault => "a fault",
        Cause::FixtureMoved => "a fixture hung elsewhere",
        Cause::RockMoved => "rock that was moved",
        Cause::StationShaded => "something that shades the place",
        Cause::SensorFouled => "growth on the sensor",
        Cause::RoomLight => "daylight or room light",
        Cause::PositionOff => "a reading taken at another place",
        Cause::Unexplained => "something unknown",
    }
}

/// "74 in 100"; never certain.
pub(crate) fn odds(probability: f64) -> String {
    let (over, hundredths) = match 100.0 * probability {
        p if p > 99.0 => ("over ", 99.0),
        p if p < 1.0 => ("under ", 1.0),
        p => ("", p),
    };
    format!(
        "{over}{}{NO_BREAK}in{NO_BREAK}100",
        crate::number::fixed(hundredths, 0)
    )
}

/// One sentence on the likeliest cause, with its odds; names what can't be told apart from it.
pub fn likely_cause(alert: &Alert) -> Option<String> {
    let cause = alert.cause?;
    let phrase = |cause: Cause| cause_phrase(cause, &alert.target);
    let alike: Vec<String> = alert
        .alike
        .iter()
        .filter(|other| **other != cause)
        .map(|other| in_short(*other).to_owned())
        .collect();
    if cause == Cause::Unexplained {
        return Some(if alike.is_empty() {
            "None of the known causes fits.".to_owned()
        } else {
            format!("Its cause can't be told yet: {}.", either(&alike))
        });
    }
    if !alike.is_empty() {
        return Some(format!(
            "Perhaps {}; {} would look the same.",
            phrase(cause),
            either(&alike)
        ));
    }
    Some(match alert.cause_probability {
        Some(probability) => format!("Most likely {} ({}).", phrase(cause), odds(probability)),
        None => format!("Most likely {}.", phrase(cause)),
    })
}

/// The other causes, each with its odds; `None` where none was weighed.
pub(crate) fn other_causes(alert: &Alert) -> Option<String> {
    let others: Vec<String> = alert
        .alternatives
        .iter()
        .filter(|other| other.probability >= 0.01)
        .map(|other| {
            format!(
                "{} ({})",
                cause_phrase(other.cause, &alert.target),
                odds(other.probability)
            )
        })
        .collect();
    (!others.is_empty()).then(|| format!("Else {}.", list(&others)))
}

/// The likeliest cause and the others, a sentence each; nothing for what is not about light.
pub(crate) fn all(alert: &Alert) -> Vec<String> {
    likely_cause(alert)
        .into_iter()
        .chain(other_causes(alert))
        .collect()
}
