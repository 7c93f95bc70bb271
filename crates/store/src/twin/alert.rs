//! The stored form of a change of an alert.

use super::leaf::{Number, Written};
use super::{Twin, twins};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use undim_model::{About, Alert, AlertChange, AlertStep, AlertTarget, Alternative, Cause, Level, State};

twins! {
    ChangeTwin = AlertChange {
        step: Written<AlertStep>,
        alert: AlertTwin,
    }
    AlertTwin = Alert {
        id: String,
        tank: String,
        about: Written<About>,
        state: Written<State>,
        level: Written<Level>,
        cause: Option<Written<Cause>>,
        cause_probability: Option<Number>,
        target: TargetTwin,
        change_percent: Option<Number>,
        ci95: Option<[Number; 2]>,
        survey: Option<String>,
        baseline: Option<String>,
        opened: Written<Timestamp>,
        updated: Written<Timestamp>,
        closed: Option<Written<Timestamp>>,
        evidence: Vec<String>,
        next_step: Vec<String>,
        alternatives: Vec<AlternativeTwin>,
        alike: Vec<Written<Cause>>,
        p_real: Option<Number>,
    }
    AlternativeTwin = Alternative {
        cause: Written<Cause>,
        probability: Number,
    }
}

/// Where an alert's light changed.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum TargetTwin {
    Tank,
    Fixture(String),
    Station(String),
    Stations(Vec<String>),
    Path(String),
}

impl Twin for TargetTwin {
    type Noun = AlertTarget;

    fn of(noun: &AlertTarget) -> Self {
        match noun.clone() {
            AlertTarget::Tank => Self::Tank,
            AlertTarget::Fixture(id) => Self::Fixture(id),
            AlertTarget::Station(id) => Self::Station(id),
            AlertTarget::Stations(ids) => Self::Stations(ids),
            AlertTarget::Path(path) => Self::Path(path),
        }
    }

    fn back(self) -> Result<AlertTarget, String> {
        Ok(match self {
            Self::Tank => AlertTarget::Tank,
            Self::Fixture(id) => AlertTarget::Fixture(id),
            Self::Station(id) => AlertTarget::Station(id),
            Self::Stations(ids) => AlertTarget::Stations(ids),
            Self::Path(path) => AlertTarget::Path(path),
        })
    }
}
