//! What opens, grows and closes.
//!
//! An alert opens where a change is real with at least 95 % and its estimate lies past the tank's threshold, and
//! closes where the estimate falls below half the threshold or the probability below 80 %. Only surveys of the
//! scene under which it opened move it, for other scenes have other baselines; while it is open no survey of any
//! scene opens another for the same target and direction.
//!
//! One event makes one alert:
//!
//! - Where the fixtures differ beyond chance, or a fixture's alert is open, the whole tank is judged by the fixture that
//!   changed least; the even change would count one fixture's loss again.
//! - While the whole tank's alert is open a fixture is judged by what it differs from that fixture. A fixture's alert
//!   closes when the fixture no longer stands out, whatever all fixtures did together.
//! - Places are judged on what is left after the tank and the fixtures ([`places`]).
//!
//! All times are starts of surveys, so that a rebuild gives the same bytes.

mod knowledge;
mod places;
mod together;

use crate::cause;
use crate::estimate::{ONE_SIDED_95, probability, toward};
use crate::fit::{Field, Place};
use crate::joint::{Class, Event, Record, Said};
use crate::steps;
use crate::trend;
use crate::words::{self, Beside, Days, Evidence, Places};
use jiff::civil::Date;
use undim_model::{
    About, Alert, AlertChange, AlertStep, AlertTarget, Cause, Change, Direction, Level, State, StationChange,
    Survey, Tank, Text, Thresholds, TrendPoint, Upkeep, UpkeepKind,
};

/// Real with at least this opens.
const OPENS: f64 = 0.95;
/// Real with less than this closes.
const CLOSES: f64 = 0.8;

/// One judged survey, as alerts see it.
pub(crate) struct Finding<'a> {
    pub(crate) tank: &'a Tank,
    pub(crate) survey: &'a Survey,
    pub(crate) baseline: &'a Survey,
    /// Ids of the fixtures that `field` counts.
    pub(crate) fixtures: &'a [String],
    pub(crate) field: &'a Field,
    /// What all surveys since the baseline say together, where they do.
    pub(crate) said: Option<&'a Said>,
    /// The record they say it of.
    pub(crate) record: &'a Record,
    /// One for each place that both surveys hold.
    pub(crate) stations: &'a [StationChange],
    /// What was left to places in the survey before, under the same scene and baseline.
    pub(crate) previous: &'a [(Text, Place)],
    pub(crate) even_trend: &'a [TrendPoint],
    pub(crate) fixture_trends: &'a [(String, Vec<TrendPoint>)],
    /// Between the baseline and this survey.
    pub(crate) upkeep: &'a [&'a Upkeep],
}

impl Finding<'_> {
    fn days(&self) -> Days {
        Days {
            now: self.survey.date,
            baseline: self.baseline.date,
        }
    }

    /// What is set on the fixture that an alert is about.
    fn level(&self, target: &AlertTarget) -> Option<f64> {
        let AlertTarget::Fixture(id) = target else {
            return None;
        };
        steps::level(self.tank, self.survey.scene.as_deref(), id, self.survey.date)
    }

    /// True where a shape belongs to a target.
    fn concerns(&self, class: Class, target: &AlertTarget) -> bool {
        match (class, target) {
            (Class::Fixture(at), AlertTarget::Fixture(id)) => self.fixtures.get(at) == Some(id),
            (Class::Fixture(_), _) => false,
            (_, target) => *target == AlertTarget::Tank,
        }
    }

    /// What this survey alone shows of a fixture against the baseline.
    fn seen_alone(&self, target: &AlertTarget) -> Option<Change> {
        let AlertTarget::Fixture(id) = target else {
            return None;
        };
        let (_, change) = self
            .field
            .fixtures
            .iter()
            .find(|(index, _)| self.fixtures.get(*index) == Some(id))?;
        Some(*change)
    }

    /// The event that stands behind a target's change.
    fn event(&self, target: &AlertTarget, direction: Direction) -> Option<&Event> {
        let said = self.said?;
        let is_loss = direction == Direction::Loss;
        said.events
            .iter()
            .filter(|event| event.course.lasts() && self.concerns(event.class, target))
            .find(|event| event.is_loss == is_loss)
            .or_else(|| {
                said.likeliest
                    .as_ref()
                    .filter(|event| event.course.lasts() && self.concerns(event.class, target))
            })
    }

    fn trend(&self, target: &AlertTarget) -> &[TrendPoint] {
        match target {
            AlertTarget::Tank => self.even_trend,
            AlertTarget::Fixture(id) => self
                .fixture_trends
                .iter()
                .find(|(fixture, _)| fixture == id)
                .map_or(&[], |(_, points)| points),
            AlertTarget::Station(_) | AlertTarget::Stations(_) | AlertTarget::Path(_) => &[],
        }
    }

    /// The latest cleaning of a fixture, or of all of them, since the survey before.
    fn cleaned(&self, target: &AlertTarget) -> Option<&Upkeep> {
        let before = self.trend(target).iter().rev().nth(1)?.date;
        let concerns = |entry: &Upkeep| match (target, &entry.target) {
            (AlertTarget::Fixture(mine), Some(cleaned)) => mine == cleaned,
            _ => true,
        };
        self.upkeep.iter().rev().copied().find(|entry| {
            matches!(entry.what, UpkeepKind::LensCleaned | UpkeepKind::CoverCleaned)
                && entry.date > before
                && concerns(entry)
        })
    }

    /// True where there are too few places to speak of the tank: each stands for itself.
    fn speaks_of_places_only(&self) -> bool {
        self.field.even.is_none()
    }

    /// Position and change of the fixture that changed least in a direction.
    fn least_changed(&self, direction: Direction) -> Option<(usize, Change)> {
        self.field
            .fixtures
            .iter()
            .enumerate()
            .map(|(at, (_, change))| (at, *change))
            .min_by(|a, b| toward(direction, a.1.percent).total_cmp(&toward(direction, b.1.percent)))
    }
}

/// What alerts say of a survey.
#[derive(Debug, Default)]
pub(crate) struct Outcome {
    pub(crate) changes: Vec<AlertChange>,
    /// True where a real change lies past its threshold.
    pub(crate) past_threshold: bool,
    /// Sentences on what waits for a second look.
    pub(crate) waiting: Vec<String>,
}

/// An alert and what it takes to carry it on.
#[derive(Debug)]
struct Kept {
    alert: Alert,
    scene: Option<String>,
    direction: Direction,
    baseline_date: Date,
    /// Its furthest change so far, percent.
    worst_percent: f64,
}

impl Kept {
    fn is_open(&self, direction: Direction) -> bool {
        self.alert.state == State::Open && self.direction == direction
    }
}

/// All alerts of a tank, in order of opening.
#[derive(Debug, Default)]
pub(crate) struct Alerts {
    kept: Vec<Kept>,
}

/// What is claimed of one target.
#[derive(Clone)]
struct Claim {
    target: AlertTarget,
    change: Change,
    /// What is held against the threshold: the change, or what it differs by from the rest.
    judged: Change,
    /// Probability that `judged` is real, in the alert's direction.
    p: f64,
    left_over: Option<(f64, f64)>,
    thresholds: Thresholds,
}

impl Claim {
    fn opens(&self, direction: Direction) -> bool {
        self.p >= OPENS
            && toward(direction, self.judged.percent) >= self.thresholds.notice
            && toward(direction, self.change.percent) > 0.0
    }

    fn recovers(&self, direction: Direction) -> bool {
        self.p < CLOSES || toward(direction, self.judged.percent) < self.thresholds.notice / 2.0
    }
}

impl Alerts {
    /// Every alert in its present state, in order of opening.
    pub(crate) fn into_alerts(self) -> Vec<Alert> {
        self.kept.into_iter().map(|kept| kept.alert).collect()
    }

    /// Those that are open now, in order of opening.
    pub(crate) fn open_now(&self) -> Vec<Alert> {
        self.kept
            .iter()
            .filter(|kept| kept.alert.state == State::Open)
            .map(|kept| kept.alert.clone())
            .collect()
    }

    /// Upkeep that starts a new baseline ends every alert that rests on an older one.
    pub(crate) fn reset(
        &mut self,
        survey: &Survey,
        entry: &Upkeep,
        concerns: impl Fn(&Option<String>) -> bool,
    ) -> Vec<AlertChange> {
        let mut changes = Vec::new();
        for kept in &mut self.kept {
            if kept.alert.state == State::Open && kept.baseline_date < entry.date && concerns(&kept.scene) {
                let evidence = vec![format!(
                    "Closed because of {}, which changes the light on purpose: later surveys are held against a new baseline. The last change seen was {}.",
                    words::done(entry),
                    words::amount(kept.alert.change_percent.unwrap_or(0.0))
                )];
                changes.push(close(kept, survey, evidence, Vec::new()));
            }
        }
        changes
    }

    /// True where an alert that opened under this scene is open.
    pub(crate) fn any_open_under(&self, scene: Option<&String>) -> bool {
        self.kept
            .iter()
            .any(|kept| kept.alert.state == State::Open && kept.scene.as_ref() == scene)
    }

    /// A baseline that proved unsound ends every alert that rests on it. `why` is the end of a sentence.
    pub(crate) fn baseline_replaced(
        &mut self,
        survey: &Survey,
        baseline: &Survey,
        why: &str,
    ) -> Vec<AlertChange> {
        let mut changes = Vec::new();
        for kept in &mut self.kept {
            if kept.alert.state == State::Open && kept.scene == survey.scene {
                let evidence = vec![format!(
                    "Closed because the baseline of {}, on which it rested, is replaced: {why}. The last change seen was {}. Whether light was lost before the new baseline can't be told from it.",
                    words::day(baseline.date),
                    words::amount(kept.alert.change_percent.unwrap_or(0.0))
                )];
                changes.push(close(kept, survey, evidence, Vec::new()));
            }
        }
        changes
    }

    /// Looks at one judged survey.
    pub(crate) fn look(&mut self, finding: &Finding<'_>) -> Outcome {
        let mut outcome = Outcome::default();
        for direction in [Direction::Loss, Direction::Gain] {
            if finding.speaks_of_places_only() {
                self.lone_places(finding, direction, &mut outcome);
            } else {
                match finding.said {
                    Some(said) => self.by_evidence(finding, said, direction, &mut outcome),
                    None => self.tank_and_fixtures(finding, direction, &mut outcome),
                }
                self.left_overs(finding, direction, &mut outcome);
            }
        }
        outcome
    }

    fn tank_and_fixtures(&mut self, finding: &Finding<'_>, direction: Direction, outcome: &mut Outcome) {
        let thresholds = thresholds(finding.tank, direction);
        let several = finding.field.fixtures.len() >= 2;
        let least = finding.least_changed(direction).filter(|_| several);
        let fixture_open = self
            .kept
            .iter()
            .any(|kept| kept.is_open(direction) && matches!(kept.alert.target, AlertTarget::Fixture(_)));
        let by_least = finding.field.differ || fixture_open;
        let even = match least {
            Some((_, change)) if by_least => Some(change),
            _ => finding.field.even,
        };
        if let Some(change) = even {
            let claim = Claim {
                target: AlertTarget::Tank,
                change,
                judged: change,
                p: probability(direction, &change),
                left_over: None,
                thresholds,
            };
            self.weigh(finding, direction, &claim, true, outcome);
        }
        let Some((least_at, _)) = least else {
            return;
        };
        let tank_open = self.is_open(direction, &AlertTarget::Tank);
        for (at, (index, change)) in finding.field.fixtures.iter().enumerate() {
            let (Some(id), Some(apart)) =
                (finding.fixtures.get(*index), finding.field.contrast(at, least_at))
            else {
                continue;
            };
            let target = AlertTarget::Fixture(id.clone());
            // A fixture's alert is about standing out: it does not outlast that for a shared error's sake.
            let falls_back = self.is_open(direction, &target)
                && toward(direction, apart.percent) < toward(direction, change.percent);
            let judged = if tank_open || falls_back { apart } else { *change };
            let stands_out = finding.field.differ
                && toward(direction, apart.percent) > finding.field.differ_beyond() * apart.u_percent;
            let claim = Claim {
                target,
                change: *change,
                judged,
                p: probability(direction, &judged),
                left_over: None,
                thresholds,
            };
            self.weigh(finding, direction, &claim, stands_out, outcome);
        }
    }

    fn is_open(&self, direction: Direction, target: &AlertTarget) -> bool {
        self.kept
            .iter()
            .any(|kept| kept.is_open(direction) && kept.alert.target == *target)
    }

    /// Carries an open alert on, closes it, or opens one where `may_open`.
    fn weigh(
        &mut self,
        finding: &Finding<'_>,
        direction: Direction,
        claim: &Claim,
        may_open: bool,
        outcome: &mut Outcome,
    ) {
        let open = self
            .kept
            .iter()
            .position(|kept| kept.is_open(direction) && kept.alert.target == claim.target);
        let opens = claim.opens(direction) && (may_open || open.is_some());
        outcome.past_threshold |= opens;
        match open {
            Some(at) => self.carry_on(at, finding, claim, outcome),
            None if opens => self.open(finding, direction, claim, outcome),
            None => {}
        }
    }

    fn open(&mut self, finding: &Finding<'_>, direction: Direction, claim: &Claim, outcome: &mut Outcome) {
        let urgent = toward(direction, claim.judged.percent) >= claim.thresholds.urgent;
        let mut kept = Kept {
            alert: Alert {
                id: self.new_id(finding.survey, &claim.target, direction),
                tank: finding.tank.id.clone(),
                about: About::Light,
                state: State::Open,
                level: if urgent { Level::Urgent } else { Level::Notice },
                cause: None,
                cause_probability: None,
                target: claim.target.clone(),
                change_percent: None,
                ci95: None,
                survey: None,
                baseline: Some(finding.baseline.id.clone()),
                opened: finding.survey.start,
                updated: finding.survey.start,
                closed: None,
                evidence: Vec::new(),
                next_step: Vec::new(),
                alternatives: Vec::new(),
                alike: Vec::new(),
                p_real: None,
            },
            scene: finding.survey.scene.clone(),
            direction,
            baseline_date: finding.baseline.date,
            worst_percent: claim.change.percent,
        };
        tell(&mut kept, finding, claim);
        outcome.changes.push(AlertChange {
            step: AlertStep::Opened,
            alert: kept.alert.clone(),
        });
        self.kept.push(kept);
    }

    fn carry_on(&mut self, at: usize, finding: &Finding<'_>, claim: &Claim, outcome: &mut Outcome) {
        let tank_alert = self
            .kept
            .iter()
            .find(|kept| {
                kept.alert.target == AlertTarget::Tank
                    && self.kept.get(at).is_some_and(|mine| kept.is_open(mine.direction))
            })
            .map(|kept| kept.alert.id.clone());
        let Some(kept) = self.kept.get_mut(at) else {
            return;
        };
        if kept.scene != finding.survey.scene {
            return;
        }
        let direction = kept.direction;
        if claim.recovers(direction) {
            // What this survey alone shows of a fixture counts for what is said: its light may be as low as ever, and
            // only no longer apart from the others.
            let change = finding
                .seen_alone(&claim.target)
                .filter(|seen| toward(direction, seen.percent) >= claim.thresholds.notice / 2.0)
                .unwrap_or(claim.change);
            let claim = &Claim {
                change,
                ..claim.clone()
            };
            let still = toward(direction, claim.change.percent) >= claim.thresholds.notice / 2.0;
            let mut next_step = Vec::new();
            let evidence = match (&claim.target, tank_alert) {
                (AlertTarget::Fixture(id), Some(_)) if still => vec![format!(
                    "The {id} fixture no longer stands out: the whole tank has changed with it, and the alert on the whole tank goes on. The {id} fixture itself: {}.",
                    words::spoken(&claim.change)
                )],
                (AlertTarget::Fixture(id), None) if still => vec![format!(
                    "The {id} fixture no longer stands out: it stands at {}, {} at its furthest, but the others have moved with it, which a survey's shared error does as well.",
                    words::spoken(&claim.change),
                    words::amount(kept.worst_percent)
                )],
                (AlertTarget::Station(id), _) if still => vec![format!(
                    "{id} no longer stands out: it stands at {}, as the rest of the tank leads to expect there.",
                    words::spoken(&claim.change)
                )],
                (AlertTarget::Tank, _) if finding.field.differ => {
                    vec![format!(
                        "Not the whole tank has changed: the fixtures differ beyond chance, and the one that changed least stands at {}. What single fixtures lost or gained is told on its own.",
                        words::spoken(&claim.change)
                    )]
                }
                _ => {
                    let cleaned = finding
                        .cleaned(&claim.target)
                        .filter(|_| kept.alert.cause == Some(Cause::LensDirty));
                    if cleaned.is_some() {
                        kept.alert.alike.clear();
                    }
                    next_step = steps::after_closing(
                        &claim.target,
                        direction,
                        words::back_percent(kept.worst_percent, claim.change.percent),
                        finding.level(&claim.target),
                    );
                    words::came_back(
                        &claim.target,
                        kept.worst_percent,
                        &claim.change,
                        finding.days(),
                        cleaned,
                    )
                }
            };
            kept.alert.change_percent = Some(claim.change.percent);
            kept.alert.ci95 = Some(claim.change.ci95);
            kept.alert.p_real = Some(claim.p);
            kept.alert.survey = Some(finding.survey.id.clone());
            outcome
                .changes
                .push(close(kept, finding.survey, evidence, next_step));
            return;
        }
        if toward(direction, claim.change.percent) > toward(direction, kept.worst_percent) {
            kept.worst_percent = claim.change.percent;
        }
        let read_before = (kept.alert.cause, kept.alert.target.clone());
        tell(kept, finding, claim);
        let worse = kept.alert.level == Level::Notice
            && toward(direction, claim.judged.percent) >= claim.thresholds.urgent
            && claim.p >= OPENS;
        let step = if worse {
            kept.alert.level = Level::Urgent;
            Some(AlertStep::Raised)
        } else if read_before != (kept.alert.cause, kept.alert.target.clone()) {
            Some(AlertStep::Changed)
        } else {
            None
        };
        outcome.changes.extend(step.map(|step| AlertChange {
            step,
            alert: kept.alert.clone(),
        }));
    }

    /// `<survey>-<target>-<loss|gain>`, in `[a-z0-9-]`, with a number where that is taken.
    fn new_id(&self, survey: &Survey, target: &AlertTarget, direction: Direction) -> String {
        let target = match target {
            AlertTarget::Tank => "whole-tank",
            AlertTarget::Fixture(id) | AlertTarget::Station(id) | AlertTarget::Path(id) => id,
            AlertTarget::Stations(_) => "several-places",
        };
        let direction = match direction {
            Direction::Loss => "loss",
            Direction::Gain => "gain",
        };
        let plain: String = format!("{}-{target}-{direction}", survey.id)
            .to_lowercase()
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
            .collect();
        let taken = |id: &str| self.kept.iter().any(|kept| kept.alert.id == id);
        if !taken(&plain) {
            return plain;
        }
        (2..=self.kept.len() + 2)
            .map(|number| format!("{plain}-{number}"))
            .find(|id| !taken(id))
            .unwrap_or(plain)
    }
}

fn thresholds(tank: &Tank, direction: Direction) -> Thresholds {
    match direction {
        Direction::Loss => tank.drift.loss_percent,
        Direction::Gain => tank.drift.gain_percent,
    }
}

fn close(kept: &mut Kept, survey: &Survey, evidence: Vec<String>, next_step: Vec<String>) -> AlertChange {
    let alert = &mut kept.alert;
    alert.state = State::Closed;
    alert.closed = Some(survey.start);
    alert.updated = survey.start;
    alert.evidence = evidence;
    alert.next_step = next_step;
    AlertChange {
        step: AlertStep::Closed,
        alert: alert.clone(),
    }
}

/// Writes what this survey shows into an open alert.
fn tell(kept: &mut Kept, finding: &Finding<'_>, claim: &Claim) {
    let direction = kept.direction;
    let trend = finding.trend(&claim.target);
    let event = finding.event(&claim.target, direction);
    let known = knowledge::known(finding, &claim.target, event);
    let reading = match &claim.target {
        AlertTarget::Tank | AlertTarget::Fixture(_) => cause::weigh(
            event,
            &|class| finding.concerns(class, &claim.target),
            direction,
            &finding.tank.drift.priors,
            known,
        ),
        AlertTarget::Station(_) | AlertTarget::Path(_) => cause::at_stations(direction, false, known),
        AlertTarget::Stations(_) => cause::at_stations(direction, true, known),
    };
    let creep = trend::creep(trend)
        .filter(|creep| creep.ahead > 0.0 || event.is_some_and(|event| event.p_ramp > 0.5));
    let beside = finding
        .field
        .fixtures
        .iter()
        .filter(|_| finding.field.fixtures.len() >= 2)
        .filter_map(|(index, change)| Some((finding.fixtures.get(*index)?, change)))
        .filter(|(id, _)| !matches!(&claim.target, AlertTarget::Fixture(mine) if mine == *id))
        .map(|(fixture, change)| Beside { fixture, change })
        .collect();
    let going = |change: &StationChange| toward(direction, change.change.percent) > 0.0;
    let evidence = words::evidence(&Evidence {
        target: &claim.target,
        direction,
        change: &claim.change,
        left_over: claim.left_over,
        days: finding.days(),
        places: Places {
            going: finding.stations.iter().filter(|change| going(change)).count(),
            all: finding.stations.len(),
        },
        beside,
        trend,
        half_threshold: claim.thresholds.notice / 2.0,
        upkeep: finding.upkeep,
        reading: &reading,
        creep,
        fixtures: finding.fixtures,
    });
    let alert = &mut kept.alert;
    alert.target.clone_from(&claim.target);
    alert.next_step = steps::next_step(
        &claim.target,
        reading.cause,
        direction,
        claim.change.percent,
        finding.level(&claim.target),
    );
    if let Some(telling) = knowledge::telling(finding, &claim.target, &reading) {
        // Of a fixture after the places are read again, and before what follows from it; else before the work.
        let at = match &claim.target {
            AlertTarget::Fixture(_) => alert.next_step.len().saturating_sub(1),
            _ => alert.next_step.len().min(1),
        };
        alert.next_step.insert(at, telling);
    }
    alert.cause = Some(reading.cause);
    alert.cause_probability = reading.probability;
    alert.alternatives = reading.alternatives;
    alert.alike = reading.alike;
    alert.evidence = evidence;
    alert.change_percent = Some(claim.change.percent);
    alert.ci95 = Some(claim.change.ci95);
    alert.p_real = Some(claim.p);
    alert.survey = Some(finding.survey.id.clone());
    alert.updated = finding.survey.start;
}
