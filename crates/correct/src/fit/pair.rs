//! One pair of side-by-side readings.

use jiff::Timestamp;
use undim_model::Text;
use undim_stats::errors_in_variables as eiv;

/// What is taken of each reading where no uncertainty is stated: a single reading of a device that nothing is known
/// about (formats, section 10), percent.
const ASSUMED_PERCENT: f64 = 2.0;
/// And never less than this part of the largest: a reading of 0 is not exact.
const ASSUMED_PART_OF_LARGEST: f64 = 0.001;

/// What a device and a reference read at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// The station, or the pair's number.
    pub station: Text,
    /// When the device read it.
    pub time: Option<Timestamp>,
    /// The lighting scene.
    pub scene: Option<Text>,
    /// The device's value after its factors: the v of formats, section 4.
    pub device: f64,
    /// Its standard uncertainty; `None` where nothing is known of it.
    pub u_device: Option<f64>,
    /// The reference's corrected value.
    pub reference: f64,
    /// Its standard uncertainty, calibration left out: that is shared by all pairs.
    pub u_reference: Option<f64>,
    /// Of the two errors.
    pub correlation: f64,
    /// Found while pairing; a pair with one of [`Why::leaves_out`] takes no part.
    pub reasons: Vec<Why>,
}

/// What is wrong with a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Why {
    /// A number is missing or not finite, or the uncertainties are no uncertainties.
    MissingValue,
    /// A value below zero: light can't be. It stays in.
    BelowZero,
    /// The device or the reference stood at its upper end.
    OverRange,
    /// Far off the others on both sides of it, such as by an arm's shadow.
    Shadow,
    /// Nothing tells when it was read. It stays in.
    NoTime,
    /// Another scene than was asked for.
    OtherScene,
}

impl Why {
    /// The word that is written; those of the readings where they mean the same.
    pub fn word(self) -> &'static str {
        match self {
            Self::MissingValue => "missing-value",
            Self::BelowZero => "under-range",
            Self::OverRange => "over-range",
            Self::Shadow => "shadow",
            Self::NoTime => "no-time",
            Self::OtherScene => "other-spectrum",
        }
    }

    /// True where a pair takes no part because of it.
    pub fn leaves_out(self) -> bool {
        !matches!(self, Self::BelowZero | Self::NoTime)
    }
}

/// Pairs as the estimators take them, and whether their uncertainties are known as they stand.
pub(super) struct Weighed {
    pub(super) pairs: Vec<eiv::Pair>,
    /// False where only the ratios are: then the scale is that of the residuals.
    pub(super) is_scale_known: bool,
    /// How many had to be assumed.
    pub(super) assumed: usize,
}

/// Uncertainties as stated, else assumed. Exact values on both sides everywhere are taken as equally good references
/// beside exact devices: plain least squares.
pub(super) fn weighed(pairs: &[&Pair]) -> Weighed {
    let plain = |u_x, u_y, pair: &Pair| eiv::Pair {
        x: pair.device,
        y: pair.reference,
        u_x,
        u_y,
        correlation: pair.correlation,
    };
    let are_all_exact = !pairs.is_empty()
        && (pairs.iter()).all(|pair| pair.u_device == Some(0.0) && pair.u_reference == Some(0.0));
    if are_all_exact {
        return Weighed {
            pairs: pairs.iter().map(|pair| plain(0.0, 1.0, pair)).collect(),
            is_scale_known: false,
            assumed: 0,
        };
    }
    let largest =
        |values: &dyn Fn(&Pair) -> f64| pairs.iter().map(|pair| values(pair).abs()).fold(0.0, f64::max);
    let largest = [largest(&|pair| pair.device), largest(&|pair| pair.reference)];
    let assumed_u = |value: f64, largest: f64| {
        let u = (ASSUMED_PERCENT / 100.0 * value).hypot(ASSUMED_PART_OF_LARGEST * largest);
        if u > 0.0 { u } else { 1.0 }
    };
    let mut assumed = 0;
    let weighed: Vec<eiv::Pair> = (pairs.iter())
        .map(|pair| {
            let is_exact = pair.u_device == Some(0.0) && pair.u_reference == Some(0.0);
            let u = |stated: Option<f64>, value, largest| match stated {
                Some(u) if !is_exact => u,
                _ => assumed_u(value, largest),
            };
            if is_exact || pair.u_device.is_none() || pair.u_reference.is_none() {
                assumed += 1;
            }
            plain(
                u(pair.u_device, pair.device, largest[0]),
                u(pair.u_reference, pair.reference, largest[1]),
                pair,
            )
        })
        .collect();
    Weighed {
        is_scale_known: assumed < pairs.len(),
        pairs: weighed,
        assumed,
    }
}
