//! What is known of a change beside the light, and the cheapest measurement that would tell more.

use super::Finding;
use crate::cause::{Known, Reading, When};
use crate::joint::{Class, Event};
use undim_model::{AlertTarget, Cause, Survey, Text, UpkeepKind};
use undim_place::TankOnDay;

/// Stations named for one measurement.
const NAMED: usize = 3;

/// What is known beside the light.
pub(super) fn known(finding: &Finding<'_>, target: &AlertTarget, event: Option<&Event>) -> Known {
    let days = finding.said.map(|said| said.days.as_slice()).unwrap_or_default();
    // The last survey without the change, and the first with it.
    let (before, onset) = event.map_or((None, None), |event| {
        let from = event.course.shows_from();
        (from.checked_sub(1).and_then(|at| days.get(at)), days.get(from))
    });
    let when = |concerns: &dyn Fn(UpkeepKind, Option<&String>) -> bool| {
        finding
            .upkeep
            .iter()
            .filter(|entry| concerns(entry.what, entry.target.as_ref()))
            .filter_map(|entry| match (before, onset) {
                (_, Some(onset)) if entry.date > *onset => Some(When::Since),
                (Some(before), Some(_)) if entry.date > *before => Some(When::AtItsOnset),
                _ => None,
            })
            .last()
    };
    let mine = |place: Option<&String>| match (target, place) {
        (AlertTarget::Fixture(id), Some(place)) => place == id,
        _ => true,
    };
    Known {
        by_reference: finding.survey.tied_to_reference && finding.baseline.tied_to_reference,
        device_changed: read_with(finding.survey) != read_with(finding.baseline),
        levels_differ: levels_differ(finding, target),
        cleaned: when(&|what, place| {
            matches!(what, UpkeepKind::LensCleaned | UpkeepKind::CoverCleaned) && mine(place)
        }),
        wiped: when(&|what, _| matches!(what, UpkeepKind::SensorWiped | UpkeepKind::DeviceChanged)),
        water: when(&|what, _| matches!(what, UpkeepKind::WaterChanged | UpkeepKind::CarbonChanged)),
        moved: finding
            .upkeep
            .iter()
            .any(|entry| matches!(entry.what, UpkeepKind::RockMoved | UpkeepKind::CoralsChanged)),
        one_fixture: finding.fixtures.len() == 1,
    }
}

fn read_with(survey: &Survey) -> Vec<(&str, &[String])> {
    survey
        .devices
        .iter()
        .map(|device| (device.id.as_str(), device.corrections.as_slice()))
        .collect()
}

/// True where the tank's file sets the target otherwise than on the baseline's day.
fn levels_differ(finding: &Finding<'_>, target: &AlertTarget) -> bool {
    let on = |survey: &Survey| {
        let tank = TankOnDay::new(finding.tank, survey.date, survey.water_cm);
        let levels = tank.levels(survey.scene.as_deref());
        tank.fixtures()
            .iter()
            .map(|fixture| fixture.id.clone())
            .zip(levels)
            .filter(|(id, _)| !matches!(target, AlertTarget::Fixture(mine) if mine != id))
            .collect::<Vec<_>>()
    };
    on(finding.survey) != on(finding.baseline)
}

/// The cheapest measurement that tells the causes apart that are alike: where, and with what.
pub(super) fn telling(finding: &Finding<'_>, target: &AlertTarget, reading: &Reading) -> Option<String> {
    let among = |cause: Cause| reading.cause == cause || reading.alike.contains(&cause);
    let names = |class: Class| list(&finding.record.telling(class, NAMED));
    if let [first, second, ..] = reading.pooled.as_slice() {
        let pair = (first.min(second), first.max(second));
        return Some(match pair {
            (Class::Even | Class::Water, Class::Water | Class::Zero) => format!(
                "To tell the water and the device's zero from an even loss: cover the sensor and note what it reads, then read {} again, where the way through the water is longest.",
                names(Class::Water)
            ),
            _ => format!(
                "To tell which it is: switch on one fixture at a time and read {} again.",
                names(**[first, second].iter().max()?)
            ),
        });
    }
    match target {
        AlertTarget::Tank if among(Cause::SensorFouled) && among(Cause::DeviceDrift) => Some(format!(
            "Cheapest to tell more: wipe the sensor and its bag, then read {} again; if the light is back there, it was growth on the sensor. Then read the same places with a reference beside it.",
            names(Class::Even)
        )),
        AlertTarget::Tank if reading.cause == Cause::WaterClarity => Some(format!(
            "To be surer of the water: change the carbon or some of the water as you always do, and read {} again, where the way through the water is longest.",
            names(Class::Water)
        )),
        AlertTarget::Fixture(id) if !reading.alike.is_empty() => {
            let at = finding.fixtures.iter().position(|fixture| fixture == id)?;
            Some(format!(
                "{} tell most of it: they get most of their light from the {id} fixture.",
                names(Class::Fixture(at))
            ))
        }
        _ => None,
    }
}

fn list(names: &[Text]) -> String {
    match names {
        [] => "the same places".to_owned(),
        [one] => one.to_string(),
        [others @ .., last] => format!(
            "{} and {last}",
            others
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join(", ")
        ),
    }
}
