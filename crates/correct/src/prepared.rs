//! A device's correction, settled for a day, scene, medium and unit, and applied reading by reading.

use crate::chain::{Chain, Outcome, STEPS};
use crate::choose::{Choice, choose, days_between};
use crate::describe;
use crate::shared::SharedU;
use jiff::civil::Date;
use undim_model::{Correction, Device, DeviceUnit, Medium, Reason, Reasons, Role, SharedKind, Text};

/// Calibration uncertainty of a reference that nothing is known about, percent (formats, section 10).
const UNKNOWN_REFERENCE_CAL_PERCENT: f64 = 5.0;

/// Far stronger than any light, µmol m⁻² s⁻¹: the limit of what a burst takes for one, too.
const MOST_PPFD: f64 = 1e12;

/// The mean length of a year in the Julian calendar, days.
const DAYS_A_YEAR: f64 = 365.25;

/// When and under what a reading was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct When<'a> {
    /// Day of the site's zone.
    pub day: Date,
    /// The lighting scene, where one is known.
    pub scene: Option<&'a str>,
    /// What surrounds the sensing face.
    pub medium: Medium,
}

/// A corrected reading. Every number in it is finite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corrected {
    /// µmol m⁻² s⁻¹; `None` where no way leads there from the unit or the result is beyond any light.
    pub ppfd: Option<f64>,
    /// Shared standard uncertainties by source, k = 1, µmol m⁻² s⁻¹.
    pub shared: SharedU,
    /// The device's `repeat_percent` of the value: own to this one reading, k = 1, µmol m⁻² s⁻¹.
    pub u_repeat: f64,
    /// `no-correction`, `other-spectrum`, `beyond-correction`; and where the result is beyond any light
    /// `missing-value` (the reading is none), else `over-range` or `under-range`.
    pub reasons: Reasons,
    /// True where no way leads from the unit to µmol m⁻² s⁻¹: the reading has flag 2, not evaluated.
    pub flag_two: bool,
}

/// How far on the way to the next correction, and that one's chain.
#[derive(Debug, Clone, PartialEq)]
struct Blend {
    weight: f64,
    chain: Chain,
}

/// Percents of the corrected value's magnitude, as fractions.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Fractions {
    repeat: f64,
    calibration: f64,
    drift: f64,
    rezero: f64,
}

/// A correction that is settled and ready to be applied to any number of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Prepared {
    /// `None` where no way leads to µmol m⁻² s⁻¹.
    chain: Option<Chain>,
    blend: Option<Blend>,
    fractions: Fractions,
    /// Those that stand whatever the reading.
    reasons: Reasons,
    key: Text,
    description: String,
    tied_to_reference: bool,
}

/// Settles which correction of a device holds, and readies it.
///
/// `reference_cal_percent` gives the `cal_percent` of a device by its id, `None` where it is not declared.
/// `unit` is that of the numbers to come; `None` where it is not known or not understood.
///
/// A reference device without corrections is taken as it reads, without a reason. A device that has
/// corrections, of which none is valid on the day or usable in this unit, gets `no-correction`.
pub fn prepare(
    device: &Device,
    reference_cal_percent: impl Fn(&str) -> Option<f64>,
    unit: Option<DeviceUnit>,
    when: &When<'_>,
) -> Prepared {
    let chosen = choose(&device.corrections, when.day, when.scene, when.medium);
    let ready = |index: usize| {
        let correction = device.corrections.get(index)?;
        let chain = Chain::new(correction, device.unit, unit?, when.medium)?;
        Some((correction, chain))
    };
    let Some((choice, (correction, chain))) = chosen.and_then(|choice| Some((choice, ready(choice.index)?)))
    else {
        return without_correction(device, unit, when.day);
    };
    let next = choice
        .next
        .and_then(|(index, weight)| Some((weight, ready(index)?)));
    let cal_percent = |correction: &Correction| match &correction.fit {
        Some(fit) => (fit.reference.as_deref())
            .and_then(&reference_cal_percent)
            .unwrap_or(UNKNOWN_REFERENCE_CAL_PERCENT),
        None => device.cal_percent,
    };
    let cal_percent = match &next {
        Some((weight, (next, _))) => (1.0 - weight) * cal_percent(correction) + weight * cal_percent(next),
        None => cal_percent(correction),
    };
    let mut reasons = Reasons::NONE;
    if !choice.matches {
        reasons.add(Reason::OtherSpectrum);
    }
    let next_correction = next.as_ref().map(|(_, (next, _))| *next);
    Prepared {
        fractions: fractions(
            device,
            cal_percent,
            [
                correction.span.from,
                next_correction.and_then(|next| next.span.from),
            ],
            when.day,
        ),
        reasons,
        key: key(device, &choice, next_correction, when.day),
        description: describe::correction(device, correction, next_correction, choice.matches),
        tied_to_reference: correction.fit.is_some() || device.role == Role::Reference,
        chain: Some(chain),
        blend: next.map(|(weight, (_, chain))| Blend { weight, chain }),
    }
}

/// The reading as the device gave it, where its unit is photon flux.
fn without_correction(device: &Device, unit: Option<DeviceUnit>, day: Date) -> Prepared {
    let chain = unit.and_then(Chain::plain);
    let is_reference = device.role == Role::Reference;
    let mut reasons = Reasons::NONE;
    if chain.is_none() || !is_reference || !device.corrections.is_empty() {
        reasons.add(Reason::NoCorrection);
    }
    Prepared {
        fractions: fractions(device, device.cal_percent, [None; 2], day),
        reasons,
        key: Text::from(""),
        description: describe::none(device, chain.is_some()),
        tied_to_reference: is_reference && chain.is_some(),
        chain,
        blend: None,
    }
}

/// Drift grows from the `valid_from` of the correction used, else from the certificate, else not at all. Between two
/// blended corrections it grows away from the nearer of both days: how the device went from one to the other is least
/// known midway, and on either day it stood beside a reference.
fn fractions(
    device: &Device,
    cal_percent: f64,
    [valid_from, next_from]: [Option<Date>; 2],
    day: Date,
) -> Fractions {
    let since = valid_from
        .or(device.calibrated)
        .map_or(0.0, |from| days_between(from, day));
    let until = next_from.map_or(f64::INFINITY, |next| days_between(day, next));
    let years = since.min(until).max(0.0) / DAYS_A_YEAR;
    Fractions {
        repeat: device.repeat_percent / 100.0,
        calibration: cal_percent / 100.0,
        drift: device.drift_percent_per_year * years / 100.0,
        rezero: device.rezero_percent / 100.0,
    }
}

/// A blend is another mixture every day, so its key holds the day too.
fn key(device: &Device, choice: &Choice, next: Option<&Correction>, day: Date) -> Text {
    let from = |correction: Option<&Correction>| {
        correction
            .and_then(|correction| correction.span.from)
            .map_or_else(|| "always".to_owned(), |from| from.to_string())
    };
    let this = from(device.corrections.get(choice.index));
    let number = choice.index + 1;
    let key = match next {
        Some(next) => format!("{}/{this}/{number}/to-{}/{day}", device.id, from(Some(next))),
        None => format!("{}/{this}/{number}", device.id),
    };
    Text::from(key)
}

impl Prepared {
    /// Corrects one reading, in the unit that was prepared for.
    ///
    /// Between two blended corrections both the value and each uncertainty are weighted by time: as if the
    /// two were fully correlated, the largest their combination can be (JCGM 100:2008, 5.2.2, note 1).
    pub fn apply(&self, raw: f64) -> Corrected {
        let nothing = |reasons, flag_two| Corrected {
            ppfd: None,
            shared: SharedU::default(),
            u_repeat: 0.0,
            reasons,
            flag_two,
        };
        if !raw.is_finite() {
            return nothing(self.reasons.with(Reason::MissingValue), self.chain.is_none());
        }
        let Some(chain) = &self.chain else {
            return nothing(self.reasons, true);
        };
        let outcome = match &self.blend {
            Some(blend) => blended(chain.apply(raw), blend.chain.apply(raw), blend.weight),
            None => chain.apply(raw),
        };
        let size = outcome.ppfd.abs();
        let mut shared = SharedU::default();
        for (kind, u) in STEPS.into_iter().zip(outcome.u) {
            shared.add(kind, u);
        }
        shared.add(SharedKind::Calibration, self.fractions.calibration * size);
        shared.add(SharedKind::DeviceDrift, self.fractions.drift * size);
        shared.add(SharedKind::Rezero, self.fractions.rezero * size);
        let u_repeat = self.fractions.repeat * size;
        let is_light = size <= MOST_PPFD;
        if !(is_light && shared.total().is_finite() && u_repeat.is_finite()) {
            // Only a number that no device reads can get here.
            let side = if raw < 0.0 {
                Reason::UnderRange
            } else {
                Reason::OverRange
            };
            return nothing(self.reasons.with(side), false);
        }
        let mut reasons = self.reasons;
        if outcome.beyond {
            reasons.add(Reason::BeyondCorrection);
        }
        Corrected {
            ppfd: Some(outcome.ppfd),
            shared,
            u_repeat,
            reasons,
            flag_two: false,
        }
    }

    /// What each step of the chain leaves of a reading: after dark, sensitivity, spectral, immersion, fit. Between two
    /// blended corrections each step is weighted by time, as the value is. `None` where no way leads to µmol m⁻² s⁻¹.
    pub fn steps(&self, raw: f64) -> Option<[(SharedKind, f64); STEPS.len()]> {
        let chain = self.chain.as_ref()?;
        let mut after = chain.steps(raw);
        if let Some(blend) = &self.blend {
            for (this, next) in after.iter_mut().zip(blend.chain.steps(raw)) {
                *this = (1.0 - blend.weight) * *this + blend.weight * next;
            }
        }
        let mut steps = STEPS.map(|kind| (kind, 0.0));
        for (step, value) in steps.iter_mut().zip(after) {
            step.1 = value;
        }
        steps.iter().all(|(_, value)| value.is_finite()).then_some(steps)
    }

    /// Which correction this is: the same text for the same device and correction, empty for none.
    pub fn key(&self) -> Text {
        self.key.clone()
    }

    /// What is done to a reading, in plain words for a person.
    pub fn describe(&self) -> &str {
        &self.description
    }

    /// True where the values go back to a reference: by a side-by-side fit, or because the device is one.
    pub fn tied_to_reference(&self) -> bool {
        self.tied_to_reference
    }
}

fn blended(this: Outcome, next: Outcome, weight: f64) -> Outcome {
    let mix = |this: f64, next: f64| (1.0 - weight) * this + weight * next;
    let mut u = this.u;
    for (part, next_part) in u.iter_mut().zip(next.u) {
        *part = mix(*part, next_part);
    }
    Outcome {
        ppfd: mix(this.ppfd, next.ppfd),
        u,
        beyond: this.beyond || (weight > 0.0 && next.beyond),
    }
}

#[cfg(test)]
mod tests;
