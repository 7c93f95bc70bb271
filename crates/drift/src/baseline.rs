//! Which survey a survey is held against (formats, sections 3 and 10).
//!
//! Each scene has its own baseline, because a change of scene is a change of light. With `since-change` it is
//! the scene's first survey that holds any value since the last upkeep that resets. A survey on the very day
//! of such upkeep counts as taken after it, for a keeper who changes something reads what came of it; the
//! judgement says so.

use jiff::civil::Date;
use undim_model::{Baseline, Survey, Upkeep};

/// The rule that holds for one scene.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rule {
    /// The first survey since the last upkeep that resets.
    SinceChange,
    /// The first survey of all.
    First,
    /// The named survey, which is this very one.
    ThisSurvey,
    /// The named survey, which came before.
    Named,
    /// The named survey has not come yet.
    NotYet,
}

/// The rule for a survey. `named` is the named baseline survey, once it has come.
///
/// A named survey serves its own scene; other scenes fall back on `since-change`, and before the named survey
/// there is no baseline at all.
pub(crate) fn rule(baseline: &Baseline, survey: &Survey, named: Option<&Survey>) -> Rule {
    match baseline {
        Baseline::SinceChange => Rule::SinceChange,
        Baseline::First => Rule::First,
        Baseline::Survey(id) if goes_by(survey, id) => Rule::ThisSurvey,
        Baseline::Survey(_) => match named {
            None => Rule::NotYet,
            Some(named) if named.scene == survey.scene => Rule::Named,
            Some(_) => Rule::SinceChange,
        },
    }
}

/// True where the survey has this id, or took over the survey that had it.
fn goes_by(survey: &Survey, id: &str) -> bool {
    survey.id == id || survey.replaces.iter().any(|replaced| replaced == id)
}

/// The latest upkeep that resets the baseline, up to and on a day; of several on one day the last written.
pub(crate) fn last_reset(upkeep: &[Upkeep], day: Date) -> Option<&Upkeep> {
    upkeep
        .iter()
        .filter(|entry| entry.what.resets_baseline() && entry.date <= day)
        .max_by_key(|entry| entry.date)
}

/// True where the survey holds any value that later ones could be held against.
pub(crate) fn holds_values(survey: &Survey) -> bool {
    survey
        .stations
        .iter()
        .any(|station| crate::compare::usable(station).is_some())
}
