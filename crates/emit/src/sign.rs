//! The sign that a station carries: shape says it, colour only repeats it.

use crate::Report;
use std::collections::{BTreeMap, BTreeSet};
use undim_model::{StationChange, StationValue, Verdict};

/// ▼ less, ○ no change proven, ▲ more, ✕ read again. Weightiest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Sign {
    Less,
    More,
    Again,
    Same,
}

impl Sign {
    pub(crate) const ALL: [Self; 4] = [Self::Less, Self::Same, Self::More, Self::Again];

    pub(crate) fn glyph(self) -> &'static str {
        match self {
            Self::Less => "▼",
            Self::Same => "○",
            Self::More => "▲",
            Self::Again => "✕",
        }
    }

    pub(crate) fn ascii(self) -> &'static str {
        match self {
            Self::Less => "v",
            Self::Same => "o",
            Self::More => "^",
            Self::Again => "x",
        }
    }

    /// The class that gives its colour.
    pub(crate) fn class(self) -> &'static str {
        match self {
            Self::Less => "loss",
            Self::Same => "same",
            Self::More => "gain",
            Self::Again => "again",
        }
    }

    /// What it means; without a baseline `○` is only a place that was read.
    pub(crate) fn meaning(self, compared: bool) -> &'static str {
        match self {
            Self::Less => "less light",
            Self::Same if compared => "no change proven",
            Self::Same => "read",
            Self::More => "more light",
            Self::Again => "read again",
        }
    }
}

/// A station with what the judgement says of it.
pub(crate) struct Seen<'a> {
    pub(crate) value: &'a StationValue,
    pub(crate) change: Option<&'a StationChange>,
    pub(crate) sign: Sign,
}

/// All stations in written order. A change counts as proven where its 95 % interval leaves nothing out.
pub(crate) fn seen<'a>(report: &Report<'a>) -> Vec<Seen<'a>> {
    let survey = report.survey;
    let compared: &[StationChange] = if is_compared(report) {
        &report.judgement.stations
    } else {
        &[]
    };
    let changes: BTreeMap<&str, &StationChange> =
        compared.iter().map(|change| (&*change.station, change)).collect();
    let again: BTreeSet<&str> = survey.read_again.iter().map(|again| &*again.station).collect();
    survey
        .stations
        .iter()
        .map(|value| {
            let change = changes.get(&*value.station).copied();
            let again = again.contains(&*value.station);
            let sign = match change.map(|change| change.change.ci95) {
                _ if again || value.value.is_none() => Sign::Again,
                Some([_, high]) if high < 0.0 => Sign::Less,
                Some([low, _]) if low > 0.0 => Sign::More,
                _ => Sign::Same,
            };
            Seen { value, change, sign }
        })
        .collect()
}

/// False for a survey that is held against nothing, or that is too poor for it.
pub(crate) fn is_compared(report: &Report<'_>) -> bool {
    !matches!(
        report.judgement.verdict,
        Verdict::Baseline | Verdict::NoBaseline | Verdict::TooPoor
    )
}
