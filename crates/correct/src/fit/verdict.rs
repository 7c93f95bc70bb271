//! What is missing, and what would make a fit better, in words.

use super::pair::{Weighed, Why};
use super::propose::{FEWEST, Judged, Proposal, Settings};
use super::scenes::ScenesTest;
use undim_stats::errors_in_variables as eiv;
use undim_stats::errors_in_variables::Form;
use undim_stats::robust::median;

/// Pairs from which on more of them help little.
const ENOUGH: usize = 12;
/// A stretch without pairs that is longer than this part of the span is named.
const LONG_GAP: f64 = 0.3;
/// Readings that differ by less than this many of their uncertainties are at one level.
const ONE_LEVEL: f64 = 6.0;
/// Or by less than this part.
const ONE_LEVEL_PART: f64 = 0.15;
/// Pairs named one by one.
const NAMED: usize = 8;

/// Why no correction can be proposed; `None` where one can.
pub(super) fn missing(
    judged: &[Judged],
    pairs: &[eiv::Pair],
    groups: usize,
    scenes: Option<ScenesTest>,
) -> Option<String> {
    if judged.is_empty() {
        return Some(
            "There are no pairs: no place was read with both devices. Read at least three places of different brightness with both, one right after the other."
                .to_owned(),
        );
    }
    let saturated = left_out(judged, Why::OverRange);
    if pairs.len() < FEWEST && saturated > 0 {
        return Some(format!(
            "The reference or the device stood at its upper end in {} of {}: what lies there can't be known. Read places that are less bright.",
            count(saturated, "pair"),
            judged.len()
        ));
    }
    match pairs.len() {
        0 => {
            return Some(format!(
                "None of the {} can be used: {}. Each needs a number from both devices.",
                count(judged.len(), "pair"),
                reasons(judged)
            ));
        }
        1 => {
            return Some(
                "One pair tells nothing of how well it holds: at least three at places of different brightness are needed; twelve from dim to bright are good."
                    .to_owned(),
            );
        }
        few if few < FEWEST => {
            return Some(
                "Two pairs always lie on a line, and nothing tells whether they should: at least three at places of different brightness are needed; twelve from dim to bright are good."
                    .to_owned(),
            );
        }
        _ => {}
    }
    let (low, high) = ends(pairs.iter().map(|pair| pair.x));
    let (reference_low, reference_high) = ends(pairs.iter().map(|pair| pair.y));
    if low == high && reference_low == reference_high {
        return Some(format!(
            "All pairs hold the same two readings, {} and {}: a display that stood still, or one reading copied. Read places of different brightness.",
            short(low),
            short(reference_low)
        ));
    }
    let noise = median(&pairs.iter().map(|pair| pair.u_x).collect::<Vec<_>>()).unwrap_or(0.0);
    let rise = high - low;
    if rise <= ONE_LEVEL * noise || rise < ONE_LEVEL_PART * high.abs().max(low.abs()) {
        return Some(format!(
            "All pairs lie at one level, {} to {}: what the device does elsewhere can't be known. Read dim and bright places too.",
            short(low),
            short(high)
        ));
    }
    if reference_low == reference_high {
        return Some(format!(
            "The reference shows {} everywhere while the device moved from {} to {}: it stood at its end, or a file repeats one value. Read again where the reference moves.",
            short(reference_low),
            short(low),
            short(high)
        ));
    }
    if groups > 1 {
        match scenes {
            None => {
                return Some(
                    "The pairs were taken under several scenes, and these are too few to test whether the scenes agree: name one with --scene, or take more pairs under each."
                        .to_owned(),
                );
            }
            Some(test) if !test.agree => {
                return Some(format!(
                    "The scenes don't agree (p = {}), so they are not fitted as one. The likely reason is the spectrum: a device that answers to colours in another way than the reference needs a correction for each light. Name one with --scene.",
                    probability(test.p)
                ));
            }
            Some(_) => {}
        }
    }
    None
}

/// The sentences.
pub(super) fn advice(
    proposal: &Proposal,
    missing: Option<String>,
    weighed: &Weighed,
    settings: &Settings,
) -> Vec<String> {
    let pairs = &weighed.pairs;
    let has_correction = proposal.picked.is_some();
    let mut advice: Vec<String> = missing.into_iter().collect();
    if advice.is_empty() && !has_correction {
        advice.push(match settings.model {
            Some(form) => format!(
                "The {} can't be settled by {}: it needs at least {}, spread over the span.",
                word(form),
                count(pairs.len(), "pair"),
                form.parameters() + 1
            ),
            None => {
                "No form of correction is settled by these pairs: read more places of different brightness."
                    .to_owned()
            }
        });
    }
    left_out_words(proposal, &mut advice);
    let below_zero = proposal
        .used()
        .filter(|judged| judged.reasons.contains(&Why::BelowZero))
        .count();
    if below_zero > 0 {
        advice.push(format!(
            "{} below zero, which no light is: check the dark reading (`dark` in the device's file).",
            holds(below_zero)
        ));
    }
    let no_time = proposal
        .used()
        .filter(|judged| judged.reasons.contains(&Why::NoTime))
        .count();
    if no_time > 0 {
        advice.push(format!(
            "{} without a time: nothing tells that both were read under the same light.",
            count(no_time, "pair")
        ));
    }
    if has_correction {
        about_fit(proposal, weighed, settings, &mut advice);
    }
    advice
}

fn left_out_words(proposal: &Proposal, advice: &mut Vec<String>) {
    let shadowed: Vec<&Judged> = (proposal.pairs.iter())
        .filter(|judged| judged.reasons.contains(&Why::Shadow))
        .collect();
    if !shadowed.is_empty() {
        let curve = proposal.picked().map(|picked| picked.fitted.curve);
        let names: Vec<String> = (shadowed.iter().take(NAMED))
            .map(|judged| {
                let pair = &judged.pair;
                let should = curve.map_or(pair.reference, |curve| curve.at(pair.device));
                format!(
                    "{} ({} beside {})",
                    pair.station,
                    short(pair.device),
                    short(pair.reference)
                ) + match judged.residual {
                    Some(_) if should < pair.reference => ": the device too dim",
                    Some(_) => ": the reference too dim",
                    None => "",
                }
            })
            .collect();
        let more = shadowed.len().saturating_sub(NAMED);
        advice.push(format!(
            "Left out, far off the pairs on both sides: {}{}. An arm's shadow, or one of the two at another place? --all-pairs keeps them.",
            names.join("; "),
            if more > 0 { format!(" and {more} more") } else { String::new() }
        ));
    }
    let saturated = left_out(&proposal.pairs, Why::OverRange);
    if saturated > 0 && proposal.used().count() >= FEWEST {
        advice.push(format!(
            "{} left out where the reference or the device stood at its upper end.",
            count(saturated, "pair")
        ));
    }
    let missing = left_out(&proposal.pairs, Why::MissingValue);
    if missing > 0 && proposal.used().count() > 0 {
        advice.push(format!(
            "{} left out for want of a number.",
            count(missing, "pair")
        ));
    }
}

fn about_fit(proposal: &Proposal, weighed: &Weighed, settings: &Settings, advice: &mut Vec<String>) {
    let pairs = &weighed.pairs;
    if let Some(test) = proposal.scenes_test {
        advice.push(format!(
            "The scenes agree as far as these pairs tell (p = {}), so they are fitted as one.",
            probability(test.p)
        ));
    }
    if let Some(step) = proposal.lack.step {
        advice.push(format!(
            "No curve of this form holds: near {} the device jumps by about {}. The uncertainty allows for it.",
            short(step.at),
            short(step.size.abs())
        ));
    }
    if weighed.assumed == pairs.len() {
        advice.push(
            "No uncertainties are stated: 2 % of each reading was taken, and the scale from how the pairs scatter."
                .to_owned(),
        );
    } else if weighed.assumed > 0 {
        advice.push(format!(
            "{} without an uncertainty: 2 % was taken.",
            count(weighed.assumed, "pair")
        ));
    } else if proposal.is_scaled && weighed.is_scale_known {
        advice.push(
            "The pairs scatter more than their uncertainties say; the fit's uncertainty is widened accordingly."
                .to_owned(),
        );
    }
    let slopes = proposal
        .span
        .into_iter()
        .flatten()
        .filter_map(|end| Some(proposal.picked()?.fitted.curve.slope(end)));
    if slopes.into_iter().any(|slope| slope <= 0.0) {
        advice.push(
            "The correction falls while the device rises, which no device beside a reference does: are the columns the right ones?"
                .to_owned(),
        );
    }
    let mut sorted: Vec<f64> = pairs.iter().map(|pair| pair.x).collect();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = ends(sorted.iter().copied());
    let gap = (sorted.iter().zip(sorted.iter().skip(1)))
        .map(|(from, to)| (to - from, *from, *to))
        .max_by(|one, other| one.0.total_cmp(&other.0));
    if let Some((_, from, to)) = gap.filter(|(length, ..)| *length > LONG_GAP * (high - low)) {
        advice.push(format!(
            "There is no pair between {} and {}: two or three there would help most.",
            short(from),
            short(to)
        ));
    } else if pairs.len() < ENOUGH && settings.model.is_none() {
        advice.push(format!(
            "{} are few: twelve or more from dim to bright would tell the form of the correction.",
            count(pairs.len(), "pair")
        ));
    }
    if low > high / 3.0 {
        advice.push(format!(
            "Nothing was read below {}: pairs at dim places would show whether the device has an offset.",
            short(low)
        ));
    }
}

fn left_out(judged: &[Judged], why: Why) -> usize {
    judged
        .iter()
        .filter(|judged| judged.reasons.contains(&why))
        .count()
}

fn reasons(judged: &[Judged]) -> String {
    let mut words: Vec<&str> = judged
        .iter()
        .flat_map(|judged| &judged.reasons)
        .map(|why| why.word())
        .collect();
    words.sort_unstable();
    words.dedup();
    words.join(", ")
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    })
}

fn word(form: Form) -> &'static str {
    match form {
        Form::Offset => "offset",
        Form::Gain => "gain",
        Form::Line => "line",
        Form::Hinge => "hinge",
    }
}

fn count(number: usize, noun: &str) -> String {
    if number == 1 {
        format!("1 {noun}")
    } else {
        format!("{number} {noun}s")
    }
}

fn holds(number: usize) -> String {
    if number == 1 {
        "1 pair holds a reading".to_owned()
    } else {
        format!("{number} pairs hold readings")
    }
}

fn probability(p: f64) -> String {
    if p < 0.001 {
        "less than 0.001".to_owned()
    } else {
        format!("{p:.3}")
    }
}

/// Three digits, or whole where larger.
fn short(value: f64) -> String {
    let size = value.abs();
    if size >= 100.0 || value == 0.0 {
        format!("{value:.0}")
    } else if size >= 10.0 {
        format!("{value:.1}")
    } else if size >= 0.1 {
        format!("{value:.2}")
    } else {
        format!("{value:.2e}")
    }
}
