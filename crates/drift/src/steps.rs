//! What to do about a change of light, in order, with the caution it needs.
//!
//! The sentences that must read the same wherever they stand are here; pages and notices take them from here.
//! Never is a keeper told to make light stronger to make up for a loss: a device that drifts would then have
//! corals burnt.

use undim_model::{AlertTarget, Cause, Direction, Tank, valid_on};

/// The rule that stands under every loss.
pub const DO_NOT_RAISE: &str = "Don't raise the output to make up for a loss before its cause is known.";
/// The same as the first step of an alert that is read by a program.
pub const LEAVE_LEVELS: &str = "Leave the levels as they are until the cause is known: it may be the device, and corals have grown used to what they get.";
/// For whoever looks after the tank meanwhile.
pub const STAND_IN: &str = "For whoever stands in: call the keeper; don't raise the light.";
/// Who decides about mains over salt water.
pub const LOCAL_CODES: &str = "Mains over salt water: local codes and licensed electricians decide.";

const EYES: &str = "Never look into blue or UV emitters.";
const READ_AGAIN: &str = "Read the same places again with the same device, pumps off by timer, and turn the pumps back on afterwards.";
const BACK_UP: &str = "If the light is back it was a film: go back up over weeks, watching the corals.";
const PUMPS: &str = "Turn the pumps back on, if they are still off.";

/// The level that is set on a fixture in a scene, as a fraction, where one figure tells it.
pub(crate) fn level(tank: &Tank, scene: Option<&str>, fixture: &str, day: jiff::civil::Date) -> Option<f64> {
    let scene = valid_on(&tank.scenes, day)
        .into_iter()
        .find(|known| Some(known.id.as_str()) == scene)?;
    scene
        .levels
        .iter()
        .find(|(id, _)| id == fixture)
        .and_then(|(_, set)| match set {
            undim_model::LevelSet::Whole(level) => Some(*level),
            undim_model::LevelSet::Channels(_) => None,
        })
        .filter(|level| *level > 0.0)
}

/// "down from 70 to 59 %", or where the level is not known "down to about 84 % of its present level".
fn down_to(part: f64, level: Option<f64>) -> String {
    match level {
        Some(level) => format!("down from {:.0} to {:.0} %", 100.0 * level, 100.0 * level * part),
        None => format!("down to about {:.0} % of its present level", 100.0 * part),
    }
}

/// How much the light rises at once when a loss of so many percent is undone, percent of what it is now.
///
/// A loss of 16 % leaves 0.84; 1/0.84 = 1.19. `None` for a loss of everything, or for none.
pub fn returns_percent(loss_percent: f64) -> Option<f64> {
    (loss_percent > 0.0 && loss_percent < 100.0).then(|| 100.0 * loss_percent / (100.0 - loss_percent))
}

/// What to do about a change of so many percent (negative for a loss). `level` is what is set on the fixture, as
/// a fraction.
pub fn next_step(
    target: &AlertTarget,
    cause: Cause,
    direction: Direction,
    percent: f64,
    level: Option<f64>,
) -> Vec<String> {
    match (target, direction) {
        (AlertTarget::Tank | AlertTarget::Fixture(_), Direction::Gain) => gain(target, percent, level),
        (AlertTarget::Fixture(id), Direction::Loss) => fixture_loss(id, percent, level),
        (AlertTarget::Tank, Direction::Loss) => tank_loss(cause, percent),
        (_, Direction::Loss) => vec![
            "Look whether a coral, rock, pump or growth now shades the place, and whether it was read where it always is.".to_owned(),
            format!("Clean hands, and no dripping cables over the water. {LOCAL_CODES}"),
            READ_AGAIN.to_owned(),
            "If rock or corals were moved on purpose, enter it in the upkeep list.".to_owned(),
        ],
        (_, Direction::Gain) => vec![
            "Corals at this place get more than they are used to, and a sudden excess bleaches: watch them, and shade or move them, or turn down, if they pale.".to_owned(),
            "Look whether something that shaded the place has gone, and whether it was read where it always is.".to_owned(),
            READ_AGAIN.to_owned(),
        ],
    }
}

fn fixture_loss(id: &str, percent: f64, level: Option<f64>) -> Vec<String> {
    vec![
        LEAVE_LEVELS.to_owned(),
        format!("Switch the {id} fixture off, let it cool, and look at its lens and cover from the side."),
        format!(
            "If there is a film: {}",
            turn_down(&format!("the {id} fixture"), percent, level)
        ),
        unplug("it"),
        READ_AGAIN.to_owned(),
        format!("{BACK_UP} If not, ageing or a fault is likelier: write what was done into the upkeep list."),
    ]
}

fn tank_loss(cause: Cause, percent: f64) -> Vec<String> {
    let mut steps = vec![LEAVE_LEVELS.to_owned()];
    if cause != Cause::FixtureAgeing {
        steps.push("Compare the programme and levels that are set with those of the baseline day, and look whether the water is cloudy or yellow.".to_owned());
    }
    steps.extend([
        "Hire or borrow a reference and read the same places with both devices on one day: if the reference shows no loss, it is the device.".to_owned(),
        "Switch the fixtures off, let them cool, and look at every lens and cover from the side: an even film looks like ageing.".to_owned(),
        format!("If there is a film: {}", turn_down("every fixture", percent, None)),
        unplug("each"),
        READ_AGAIN.to_owned(),
        BACK_UP.to_owned(),
    ]);
    steps
}

fn gain(target: &AlertTarget, percent: f64, level: Option<f64>) -> Vec<String> {
    let what = match target {
        AlertTarget::Fixture(id) => format!("the {id} fixture"),
        _ => "every fixture".to_owned(),
    };
    vec![
        format!(
            "Corals get more than they are used to, and a sudden excess bleaches: turn {what} {}, so that the light is what it was, and go up from there over weeks, if more is wanted.",
            down_to(100.0 / (100.0 + percent.max(0.0)), level)
        ),
        "Compare the programme and levels that are set, and how high the fixtures hang, with those of the baseline day; look for daylight or room light.".to_owned(),
        format!("{READ_AGAIN} A reference read beside it tells a change of the device from a change of the light."),
        format!("{EYES} {LOCAL_CODES}"),
    ]
}

fn turn_down(what: &str, percent: f64, level: Option<f64>) -> String {
    let lost = (-percent).clamp(0.0, 99.0);
    format!(
        "before cleaning, turn {what} {}. The light may jump by {:.0} % at once, and a sudden excess bleaches corals.",
        down_to((100.0 - lost) / 100.0, level),
        returns_percent(lost).unwrap_or_default()
    )
}

fn unplug(what: &str) -> String {
    format!("Unplug {what}, let it cool, and clean it away from the water. {EYES} {LOCAL_CODES}")
}

/// What to do when an alert closes because the light went back, by so many percent of what it was at its furthest.
pub(crate) fn after_closing(
    target: &AlertTarget,
    direction: Direction,
    back_percent: f64,
    level: Option<f64>,
) -> Vec<String> {
    let what = match target {
        AlertTarget::Fixture(id) => format!("the {id} fixture"),
        _ => "every fixture".to_owned(),
    };
    match direction {
        Direction::Loss if back_percent >= 0.5 => vec![
            format!(
                "Go slowly: the corals had grown used to less, and at the level set now they get about {back_percent:.0} % more. If they were not brought up step by step, turn {what} {} and go back up over weeks.",
                down_to(100.0 / (100.0 + back_percent), level).replace("its present", "the present")
            ),
            "Watch the corals for some weeks: what too much light did can show late.".to_owned(),
            PUMPS.to_owned(),
        ],
        Direction::Loss => vec![PUMPS.to_owned()],
        Direction::Gain => vec![
            "Watch the corals for some weeks: what too much light did can show late.".to_owned(),
            PUMPS.to_owned(),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_that_is_known_is_told_in_figures() {
        let west = AlertTarget::Fixture("west".to_owned());
        let steps = |level| next_step(&west, Cause::LensDirty, Direction::Loss, -16.0, level).join(" ");
        assert!(steps(Some(0.7)).contains("turn the west fixture down from 70 to 59 %"));
        assert!(steps(None).contains("down to about 84 % of its present level"));
        // 1 / 0.84 = 1.190: what comes back at once.
        assert!(steps(None).contains("jump by 19 %"));
    }

    #[test]
    fn light_that_comes_back_is_met_slowly() {
        let west = AlertTarget::Fixture("west".to_owned());
        let steps = after_closing(&west, Direction::Loss, 19.05, Some(0.7));
        assert!(steps[0].starts_with("Go slowly") && steps[0].contains("about 19 % more"));
        assert!(steps[0].contains("down from 70 to 59 %"), "{}", steps[0]);
    }

    #[test]
    fn the_level_is_that_of_the_scene_on_the_day() {
        use undim_model::{DateSpan, LevelSet, Scene};
        let tank = Tank {
            scenes: vec![Scene {
                id: "noon".to_owned(),
                levels: vec![
                    ("west".to_owned(), LevelSet::Whole(0.7)),
                    (
                        "east".to_owned(),
                        LevelSet::Channels(vec![("blue".to_owned(), 0.8)]),
                    ),
                ],
                only: None,
                day: Vec::new(),
                span: DateSpan::ALWAYS,
            }],
            ..Tank::default()
        };
        let day = jiff::civil::date(2026, 3, 14);
        assert_eq!(level(&tank, Some("noon"), "west", day), Some(0.7));
        assert_eq!(level(&tank, Some("noon"), "east", day), None);
        assert_eq!(level(&tank, None, "west", day), None);
    }
}
