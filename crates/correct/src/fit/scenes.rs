//! Whether pairs taken under several scenes may be fitted as one.

use super::pair::Pair;
use undim_model::Text;
use undim_stats::errors_in_variables::{self as eiv, Form};
use undim_stats::tails::{chi_squared_above, f_above};

/// Below this the scenes do not agree.
const LIMIT: f64 = 0.01;

/// A test that several scenes agree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScenesTest {
    /// The probability of scenes differing as much as here, or more, if one curve held for all.
    pub p: f64,
    /// True where `p` is not small.
    pub agree: bool,
}

/// The scenes of pairs, each once, in order.
pub(super) fn scenes(pairs: &[&Pair]) -> Vec<Option<Text>> {
    let mut scenes: Vec<Option<Text>> = pairs.iter().map(|pair| pair.scene.clone()).collect();
    scenes.sort();
    scenes.dedup();
    scenes
}

/// One line for all scenes against a line for each (a gain where a scene has few pairs): the extra sum of squares, by χ²
/// for stated uncertainties, by F where only their ratios are known or the pairs scatter more than stated (N. R.
/// Draper, H. Smith, *Applied Regression Analysis*, 3rd ed., 1998, section 6.1). `None` for fewer than two scenes or
/// where nothing can be fitted to one of them.
pub(super) fn test(groups: &[Vec<eiv::Pair>], is_scale_known: bool) -> Option<ScenesTest> {
    if groups.len() < 2 {
        return None;
    }
    let fewest = groups.iter().map(Vec::len).min()?;
    let forms: &[Form] = if fewest >= 3 {
        &[Form::Line, Form::Gain]
    } else {
        &[Form::Gain]
    };
    forms
        .iter()
        .find_map(|form| test_with(groups, is_scale_known, *form))
}

fn test_with(groups: &[Vec<eiv::Pair>], is_scale_known: bool, form: Form) -> Option<ScenesTest> {
    let all: Vec<eiv::Pair> = groups.iter().flatten().copied().collect();
    let together = eiv::fit(&all, form).ok()?;
    let mut apart = 0.0;
    let mut dof = 0;
    for group in groups {
        let fitted = eiv::fit(group, form).ok()?;
        apart += fitted.chi2;
        dof += fitted.dof;
    }
    let extra = (together.chi2 - apart).max(0.0);
    let extra_dof = (form.parameters() * (groups.len() - 1)) as f64;
    let dof = dof as f64;
    let scatters_as_stated = is_scale_known && chi_squared_above(apart, dof) > LIMIT;
    let p = if scatters_as_stated || dof == 0.0 {
        chi_squared_above(extra, extra_dof)
    } else if apart > 0.0 {
        f_above(extra / extra_dof / (apart / dof), extra_dof, dof)
    } else {
        // Both fit perfectly, or only apart.
        if extra > 0.0 { 0.0 } else { 1.0 }
    };
    Some(ScenesTest { p, agree: p >= LIMIT })
}
