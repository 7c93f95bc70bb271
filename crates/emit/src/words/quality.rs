//! Flags and their reasons in plain words.

use undim_model::{Flag, Reason, Reasons, SharedKind};

/// A flag in a word or two.
pub fn flag_phrase(flag: Flag) -> &'static str {
    match flag {
        Flag::Good => "good",
        Flag::NotEvaluated => "not evaluated",
        Flag::Questionable => "questionable",
        Flag::Bad => "bad",
        Flag::Missing => "missing",
    }
}

/// A reason in a few words.
pub fn reason_phrase(reason: Reason) -> &'static str {
    match reason {
        Reason::OverRange => "above what the device can read",
        Reason::UnderRange => "below what the device can read",
        Reason::Spike => "far above its burst",
        Reason::Flat => "a run of equal values",
        Reason::Shadow => "an arm's shadow",
        Reason::Tilt => "tilted too far",
        Reason::Unsteady => "unsteady light; were the pumps on?",
        Reason::OutsideTank => "outside the tank",
        Reason::NoPosition => "no position",
        Reason::PositionOff => "away from its station",
        Reason::NoTime => "no time",
        Reason::OutOfOrder => "out of order in its file",
        Reason::MissingValue => "no value",
        Reason::BeyondCorrection => "beyond the span of the correction",
        Reason::NoCorrection => "no correction known",
        Reason::OtherSpectrum => "correction made under another light",
        Reason::WarmUp => "fixtures still warming up",
        Reason::Repeat => "a repeat of an earlier reading",
    }
}

/// All reasons, comma between them.
pub fn reasons_phrase(reasons: Reasons) -> String {
    reasons.iter().map(reason_phrase).collect::<Vec<_>>().join(", ")
}

/// A source of shared uncertainty in plain words.
pub(crate) fn shared_phrase(kind: SharedKind) -> &'static str {
    match kind {
        SharedKind::Calibration => "calibration",
        SharedKind::DeviceDrift => "drift of the device since its last reference day",
        SharedKind::Rezero => "re-zeroing (switched on again, bag refitted)",
        SharedKind::Dark => "dark reading",
        SharedKind::Sensitivity => "sensitivity",
        SharedKind::Spectral => "spectral mismatch",
        SharedKind::Immersion => "immersion",
        SharedKind::Fit => "side-by-side fit",
        SharedKind::RodHeight => "height of the rod",
    }
}
