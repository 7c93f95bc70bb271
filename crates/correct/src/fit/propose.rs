//! From pairs to a proposal.

use super::agreement::{Agreement, agreement};
use super::lack::{Lack, lack_of_fit, scatter};
use super::pair::{Pair, Weighed, Why, weighed};
use super::scenes::{self, ScenesTest};
use super::{screen, verdict};
use crate::curve::Curve;
use undim_model::{Fit, FitModel, Text};
use undim_stats::errors_in_variables::{self as eiv, Fitted, Form};
use undim_stats::tails::{chi_squared_above, student_factor};

/// The simplest model within this much of the lowest criterion is picked.
const WITHIN: f64 = 4.0;
/// Pairs that scatter about the best form with less than this probability scatter more than stated.
const TOO_FAR: f64 = 0.01;
/// Fewer pairs make no correction: two always lie on a line, and nothing tells whether they should.
pub(super) const FEWEST: usize = 3;

/// What the keeper asks for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Settings {
    /// This form and no other.
    pub model: Option<Form>,
    /// Only pairs of this scene.
    pub scene: Option<Text>,
    /// Leave out no pair for lying far off.
    pub all_pairs: bool,
}

/// A form fitted to the pairs.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The fit; its covariance is York's, times χ²/dof where [`Proposal::is_scaled`].
    pub fitted: Fitted,
    /// Corrected Akaike criterion; `None` where too few pairs are left for it.
    pub aicc: Option<f64>,
}

/// A pair and what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// As it was given.
    pub pair: Pair,
    /// The uncertainties that were used, device and reference: as stated, else as assumed.
    pub u: [Option<f64>; 2],
    /// Reference less the picked curve at the device's value; `None` where nothing was picked or a value is missing.
    pub residual: Option<f64>,
    /// False where it took no part.
    pub used: bool,
    /// All that was found, in order.
    pub reasons: Vec<Why>,
}

/// What side-by-side readings say of a device.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// In the given order.
    pub pairs: Vec<Judged>,
    /// Scenes of the pairs used; empty where none is known.
    pub scenes: Vec<Text>,
    /// Where there are several.
    pub scenes_test: Option<ScenesTest>,
    /// The device's values over which pairs were used.
    pub span: Option<[f64; 2]>,
    /// Every form that the pairs determine, the simplest first.
    pub candidates: Vec<Candidate>,
    /// Its place among the candidates; `None` where no correction is proposed.
    pub picked: Option<usize>,
    /// True where covariances were multiplied by χ²/dof: no uncertainties are stated, or the pairs scatter more than
    /// stated.
    pub is_scaled: bool,
    /// Whether the picked curve holds.
    pub lack: Lack,
    /// Agreement as they read, of the pairs used.
    pub agreement: Option<Agreement>,
    /// Why there is no correction, then what would make it better; whole sentences.
    pub advice: Vec<String>,
}

/// A corrected value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// The device's value.
    pub device: f64,
    /// On the reference's scale.
    pub corrected: f64,
    /// Standard uncertainty of the correction there, k = 1.
    pub u: f64,
    /// 95 % interval.
    pub interval: [f64; 2],
    /// True outside the span of the pairs.
    pub is_beyond: bool,
}

impl Proposal {
    /// The picked candidate.
    pub fn picked(&self) -> Option<&Candidate> {
        self.candidates.get(self.picked?)
    }

    /// The device file's `fit`: the picked curve, and its covariance with what must be allowed for.
    ///
    /// Where neighbouring pairs agree with each other against the curve, the device follows no curve of this form. The
    /// variance of what it does beside the curve is then added to that of the offset (of a gain: of the gain), so that
    /// it widens every corrected value and averages away over none.
    pub fn fit(&self, reference: Option<&str>) -> Option<Fit> {
        let fitted = &self.picked()?.fitted;
        let mut covariance = fitted.covariance.clone();
        if let Some(first) = covariance.first_mut().and_then(|row| row.first_mut()) {
            *first += self.lack.u * self.lack.u;
        }
        Some(Fit {
            model: match fitted.form {
                Form::Offset => FitModel::Offset,
                Form::Gain => FitModel::Gain,
                Form::Line => FitModel::Line,
                Form::Hinge => FitModel::Hinge {
                    knot: fitted.curve.knot,
                },
            },
            coefficients: fitted.coefficients(),
            covariance,
            over: self.span,
            pairs: Some(self.used().count() as u64),
            reference: reference.map(str::to_owned),
        })
    }

    /// Corrected values of the device, as the correction chain will give them.
    pub fn at(&self, values: &[f64]) -> Vec<At> {
        let curve = self.fit(None).and_then(|fit| Curve::new(&fit, true));
        let Some(curve) = curve else { return Vec::new() };
        let factor = self.coverage_factor();
        (values.iter())
            .map(|value| {
                let point = curve.at(*value);
                At {
                    device: *value,
                    corrected: point.value,
                    u: point.u,
                    interval: [point.value - factor * point.u, point.value + factor * point.u],
                    is_beyond: point.beyond,
                }
            })
            .collect()
    }

    /// Standard uncertainties in half a 95 % interval: Student's where the scale comes from the pairs themselves.
    pub fn coverage_factor(&self) -> f64 {
        let dof = match self.picked() {
            Some(picked) if self.is_scaled => picked.fitted.dof as f64,
            _ => f64::INFINITY,
        };
        student_factor(0.05, dof)
    }

    /// Root mean square error of each used pair's reference, foretold by the others, in the reference's unit.
    pub fn leave_one_out(&self, candidate: &Candidate) -> Option<f64> {
        let fitted = &candidate.fitted;
        let members: Vec<&Pair> = self.used().map(|judged| &judged.pair).collect();
        let pairs = weighed(&members).pairs;
        if fitted.dof == 0 {
            return None;
        }
        let mut others = pairs.get(1..)?.to_vec();
        let mut sum = 0.0;
        for (place, pair) in pairs.iter().enumerate() {
            let without = eiv::fit_from(&others, fitted.form, fitted.curve).ok()?;
            sum += (pair.y - without.curve.at(pair.x)).powi(2);
            if let Some(slot) = others.get_mut(place) {
                *slot = *pair;
            }
        }
        let error = (sum / pairs.len() as f64).sqrt();
        error.is_finite().then_some(error)
    }

    /// The pairs that took part.
    pub fn used(&self) -> impl Iterator<Item = &Judged> {
        self.pairs.iter().filter(|judged| judged.used)
    }
}

/// Fits every form, picks one, and says how good it is.
pub fn propose(pairs: Vec<Pair>, settings: &Settings) -> Proposal {
    let mut judged = screened(pairs, settings);
    let used: Vec<usize> = (0..judged.len()).filter(|place| judged[*place].used).collect();
    let members: Vec<&Pair> = used.iter().map(|place| &judged[*place].pair).collect();
    let weighed = weighed(&members);
    let u_used: Vec<[f64; 2]> = weighed.pairs.iter().map(|pair| [pair.u_x, pair.u_y]).collect();
    let scenes = scenes::scenes(&members);
    let groups: Vec<Vec<eiv::Pair>> = (scenes.iter())
        .map(|scene| {
            let both = members.iter().zip(&weighed.pairs);
            both.filter(|(pair, _)| pair.scene == *scene)
                .map(|(_, pair)| *pair)
                .collect()
        })
        .collect();
    let scenes_test = scenes::test(&groups, weighed.is_scale_known);
    let differences: Vec<f64> = members.iter().map(|pair| pair.device - pair.reference).collect();
    let mut proposal = Proposal {
        pairs: Vec::new(),
        scenes: scenes.into_iter().flatten().collect(),
        scenes_test,
        span: span(&weighed.pairs),
        candidates: Vec::new(),
        picked: None,
        is_scaled: !weighed.is_scale_known,
        lack: Lack::default(),
        agreement: agreement(&differences),
        advice: Vec::new(),
    };
    let missing = verdict::missing(&judged, &weighed.pairs, groups.len(), scenes_test);
    // Several scenes are never fitted as one without a test that they agree.
    let is_one_light = groups.len() < 2 || scenes_test.is_some_and(|test| test.agree);
    if is_one_light {
        fit_all(&mut proposal, &weighed, settings);
    }
    if missing.is_some() {
        proposal.picked = None;
    } else if let Some(picked) = proposal.picked() {
        let scale = if proposal.is_scaled {
            scatter(&picked.fitted, &weighed.pairs).0
        } else {
            1.0
        };
        let curve = picked.fitted.curve;
        proposal.lack = lack_of_fit(&picked.fitted, &weighed.pairs, scale);
        for judged in &mut judged {
            let residual = judged.pair.reference - curve.at(judged.pair.device);
            judged.residual = Some(residual).filter(|residual| residual.is_finite());
        }
    }
    for (place, u) in used.iter().zip(u_used) {
        judged[*place].u = u.map(Some);
    }
    proposal.pairs = judged;
    proposal.advice = verdict::advice(&proposal, missing, &weighed, settings);
    proposal
}

/// Which pairs take part.
fn screened(pairs: Vec<Pair>, settings: &Settings) -> Vec<Judged> {
    let mut judged: Vec<Judged> = (pairs.into_iter())
        .map(|pair| {
            let mut reasons = pair.reasons.clone();
            let are_uncertainties = [pair.u_device, pair.u_reference]
                .iter()
                .flatten()
                .all(|u| u.is_finite() && *u >= 0.0);
            let is_whole = pair.device.is_finite()
                && pair.reference.is_finite()
                && are_uncertainties
                && pair.correlation.abs() < 1.0;
            if !is_whole {
                reasons.push(Why::MissingValue);
            } else if pair.device < 0.0 || pair.reference < 0.0 {
                reasons.push(Why::BelowZero);
            }
            if settings.scene.is_some() && pair.scene != settings.scene {
                reasons.push(Why::OtherScene);
            }
            Judged {
                used: !reasons.iter().any(|why| why.leaves_out()),
                u: [pair.u_device, pair.u_reference],
                pair,
                residual: None,
                reasons,
            }
        })
        .collect();
    for place in screen::saturated(&judged) {
        judged[place].used = false;
        judged[place].reasons.push(Why::OverRange);
    }
    if !settings.all_pairs {
        let of_used: Vec<&Pair> = judged
            .iter()
            .filter(|judged| judged.used)
            .map(|judged| &judged.pair)
            .collect();
        for scene in scenes::scenes(&of_used) {
            let members: Vec<usize> = (0..judged.len())
                .filter(|place| judged[*place].used && judged[*place].pair.scene == scene)
                .collect();
            let pairs: Vec<&Pair> = members.iter().map(|place| &judged[*place].pair).collect();
            let bad = screen::bad(&weighed(&pairs).pairs);
            for (place, _) in members.iter().zip(bad).filter(|(_, bad)| *bad) {
                judged[*place].used = false;
                judged[*place].reasons.push(Why::Shadow);
            }
        }
    }
    for judged in &mut judged {
        judged.reasons.sort();
        judged.reasons.dedup();
    }
    judged
}

fn fit_all(proposal: &mut Proposal, weighed: &Weighed, settings: &Settings) {
    let pairs = &weighed.pairs;
    let mut fits: Vec<Fitted> = Form::ALL
        .iter()
        .filter_map(|form| eiv::fit(pairs, *form).ok())
        .collect();
    // The most flexible one tells whether the pairs scatter more than is stated of them.
    if let Some(last) = fits.last()
        && weighed.is_scale_known
    {
        let least = fits
            .iter()
            .map(|fitted| chi_squared_above(fitted.chi2, fitted.dof as f64))
            .fold(0.0, f64::max);
        proposal.is_scaled = least < TOO_FAR && scatter(last, pairs).1;
    }
    for fitted in &mut fits {
        if proposal.is_scaled && fitted.dof > 0 {
            let factor = fitted.chi2 / fitted.dof as f64;
            for cell in fitted.covariance.iter_mut().flatten() {
                *cell *= factor;
            }
        }
    }
    proposal.candidates = (fits.into_iter())
        .map(|fitted| Candidate {
            aicc: if proposal.is_scaled {
                fitted.aicc_unknown_scale()
            } else {
                fitted.aicc()
            },
            fitted,
        })
        .collect();
    let form_at = |candidate: &Candidate| settings.model.is_none_or(|form| candidate.fitted.form == form);
    if settings.model.is_some() {
        let can_be_judged = |candidate: &&Candidate| candidate.fitted.dof > 0;
        proposal.picked = (proposal.candidates.iter())
            .position(|candidate| form_at(candidate) && can_be_judged(&candidate));
        return;
    }
    let lowest = proposal
        .candidates
        .iter()
        .filter_map(|candidate| candidate.aicc)
        .min_by(f64::total_cmp);
    let Some(lowest) = lowest else {
        // So few pairs that no criterion can be had: the simplest that fits best.
        proposal.picked = (0..proposal.candidates.len())
            .filter(|place| proposal.candidates[*place].fitted.form.parameters() == 1)
            .min_by(|one, other| {
                let chi2 = |place: &usize| proposal.candidates[*place].fitted.chi2;
                chi2(one).total_cmp(&chi2(other))
            });
        return;
    };
    // Of forms with as many numbers the better one; of these the one with fewest.
    proposal.picked = (0..proposal.candidates.len())
        .filter_map(|place| Some((place, proposal.candidates[place].aicc?)))
        .filter(|(_, aicc)| *aicc <= lowest + WITHIN)
        .min_by(|one, other| {
            let numbers = |place: usize| proposal.candidates[place].fitted.form.parameters();
            numbers(one.0)
                .cmp(&numbers(other.0))
                .then(one.1.total_cmp(&other.1))
        })
        .map(|(place, _)| place);
}

fn span(pairs: &[eiv::Pair]) -> Option<[f64; 2]> {
    let low = pairs.iter().map(|pair| pair.x).min_by(f64::total_cmp)?;
    let high = pairs.iter().map(|pair| pair.x).max_by(f64::total_cmp)?;
    Some([low, high])
}
