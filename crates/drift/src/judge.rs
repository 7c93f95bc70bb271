//! The fold over a tank's surveys.

use crate::alerts::{Alerts, Finding};
use crate::baseline::{self, Rule};
use crate::compare::{self, Compared, Pair};
use crate::estimate::{ONE_SIDED_95, from_ln, is_proven};
use crate::fit::{self, Field, LEAST_PLACES, Place};
use crate::joint::{Record, Settings};
use crate::mean::Reference;
use crate::outlook::outlook;
use crate::poor::{self, Ruling, Trial};
use crate::shares::{KnowsShares, Shares};
use crate::words;
use std::collections::BTreeMap;
use undim_model::{
    Alert, AlertChange, AlertTarget, Baseline, Change, FixtureChange, Judgement, Outlook, State,
    StationChange, Survey, Tank, Text, TrendPoint, Upkeep, Verdict,
};

/// A place gets at least this part of its light from a fixture to count among the fixture's.
const HALF: f64 = 0.5;
/// Below this weight a place is called outlying: Huber's weight at 2.7 standard deviations.
const OUTLYING_BELOW: f64 = 0.5;

/// From so many surveys on the record itself tells how well a survey repeats; before, it is as the tank's file states.
const OWN_REPEAT_FROM: usize = 6;

/// All that is known of a tank's past.
#[derive(Debug, Clone, Copy)]
pub struct History<'a> {
    /// The tank as declared.
    pub tank: &'a Tank,
    /// Its surveys, in order of their start.
    pub surveys: &'a [&'a Survey],
    /// Its upkeep, in any order.
    pub upkeep: &'a [Upkeep],
}

/// A tank's past, judged.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Judged {
    /// One for each survey, in the same order.
    pub judgements: Vec<Judgement>,
    /// Every alert on light in its present state, closed ones too, in order of opening.
    pub alerts: Vec<Alert>,
    /// Where the trends of the tank and of each fixture lead, scene by scene, as of the last survey of each.
    pub outlooks: Vec<Outlook>,
}

impl Judged {
    /// The alerts that are open now, in order of opening.
    pub fn open_alerts(&self) -> impl Iterator<Item = &Alert> {
        self.alerts.iter().filter(|alert| alert.state == State::Open)
    }
}

pub(crate) fn judge_with(history: &History<'_>, knows_shares: &dyn KnowsShares) -> Judged {
    let mut fold = Fold {
        history: *history,
        knows_shares,
        scenes: BTreeMap::new(),
        named: None,
        alerts: Alerts::default(),
    };
    let judgements = history
        .surveys
        .iter()
        .map(|survey| {
            let mut judgement = fold.next(survey);
            judgement.open_alerts = fold.alerts.open_now();
            judgement
        })
        .collect();
    let outlooks = fold
        .scenes
        .iter()
        .flat_map(|(scene, line)| line.outlooks(history.tank, scene.as_deref()))
        .collect();
    Judged {
        outlooks,
        judgements,
        alerts: fold.alerts.into_alerts(),
    }
}

struct Fold<'a> {
    history: History<'a>,
    knows_shares: &'a dyn KnowsShares,
    scenes: BTreeMap<Option<String>, Line<'a>>,
    /// The survey that `baseline` names, once it has come.
    named: Option<&'a Survey>,
    alerts: Alerts,
}

/// What is carried on from one survey of a scene to the next.
struct Line<'a> {
    baseline: Reference<'a>,
    /// Why it is a mean, where it is one, in a sentence.
    mean_because: Option<String>,
    /// Whether the baseline proves poor.
    trial: Trial<'a>,
    /// Of the baseline's light, for its stations.
    shares: Shares,
    even_trend: Vec<TrendPoint>,
    fixture_trends: Vec<(String, Vec<TrendPoint>)>,
    previous: Vec<(Text, Place)>,
    /// All surveys since the baseline, for judging them together.
    record: Record,
}

impl<'a> Fold<'a> {
    fn next(&mut self, survey: &'a Survey) -> Judgement {
        let drift = &self.history.tank.drift;
        let rule = baseline::rule(&drift.baseline, survey, self.named);
        let mut changes = Vec::new();
        let reset = baseline::last_reset(self.history.upkeep, survey.date);
        let mut renewed = false;
        if let Some(reset) = reset {
            changes = self.close_for(survey, reset);
            if rule == Rule::SinceChange
                && let Some(line) = self.scenes.get(&survey.scene)
                && line.baseline.survey.date < reset.date
            {
                self.scenes.remove(&survey.scene);
                renewed = true;
            }
        }
        if rule == Rule::ThisSurvey {
            self.named = Some(survey);
            self.scenes.remove(&survey.scene);
        }
        if rule == Rule::NotYet {
            let limit = not_yet(&drift.baseline);
            return blank(survey, Verdict::NoBaseline, vec![limit], changes);
        }
        let mut waits_for = None;
        if let Some(line) = self.scenes.get_mut(&survey.scene) {
            if matches!(rule, Rule::SinceChange | Rule::First) {
                let alert_open = self.alerts.any_open_under(survey.scene.as_ref());
                match line.trial.next(&line.baseline.survey, survey, alert_open) {
                    Ruling::Replaced(good, why, unsound) => {
                        if let Some(judgement) = self.replaced(survey, &good, &why, unsound, &mut changes) {
                            return judgement;
                        }
                    }
                    Ruling::Holds(sentence) => waits_for = sentence,
                }
            } else if line.baseline.survey.id != survey.id {
                waits_for = poor::unsound(&line.baseline.survey).map(|why| format!(
                    "The baseline of {} is poor: {why}. A survey taken with steady light makes a better one (baseline = \"<its id>\" in the tank's file).",
                    words::day(line.baseline.survey.date)
                ));
            }
        }
        if let Some(line) = self.scenes.get_mut(&survey.scene) {
            let mut judgement = against(line, &mut self.alerts, self.history, survey, changes);
            judgement.limits.extend(line.mean_because.clone());
            judgement.limits.extend(waits_for);
            return judgement;
        }
        if !baseline::holds_values(survey) {
            let limit = "No place has a value, so this survey can't serve as a baseline either.".to_owned();
            return blank(survey, Verdict::NoBaseline, vec![limit], changes);
        }
        let line = Line::new(
            Reference::one(survey),
            self.knows_shares.shares(survey),
            drift.survey_repeat_percent,
        );
        let mut limits = Vec::new();
        if rule == Rule::SinceChange
            && let Some(reset) = reset.filter(|reset| reset.date == survey.date)
        {
            limits.push(format!(
                "On this very day the upkeep list says: {}. The survey is taken as read after it and is the new baseline.",
                reset.what.word().replace('-', " ")
            ));
        } else if let Some(reset) = reset.filter(|_| renewed) {
            limits.push(format!(
                "A new baseline is needed because of this: {}.",
                words::done(reset)
            ));
        }
        limits.extend(poor::unsound(survey).map(|why| match rule {
            Rule::SinceChange | Rule::First => format!(
                "It is a poor baseline: {why}. Once {} good surveys have come after it their mean takes its place.",
                poor::GOOD_ONES
            ),
            _ => format!("It is a poor baseline: {why}. The tank's file names it all the same."),
        }));
        self.begin(survey, line, limits, changes)
    }

    /// A survey with which a baseline begins.
    fn begin(
        &mut self,
        survey: &Survey,
        line: Line<'a>,
        limits: Vec<String>,
        changes: Vec<AlertChange>,
    ) -> Judgement {
        let mut judgement = blank(survey, Verdict::Baseline, limits, changes);
        judgement.baseline_mean_of.clone_from(&line.baseline.mean_of);
        judgement.even_trend.clone_from(&line.even_trend);
        judgement.fixture_trends.clone_from(&line.fixture_trends);
        self.scenes.insert(survey.scene.clone(), line);
        judgement
    }

    /// The mean of good surveys, the last of them this one, takes the place of a poor baseline.
    fn replaced(
        &mut self,
        survey: &'a Survey,
        good: &[&'a Survey],
        why: &str,
        unsound: bool,
        changes: &mut Vec<AlertChange>,
    ) -> Option<Judgement> {
        let mean = Reference::mean(good)?;
        let old = self.scenes.remove(&survey.scene)?;
        let old_day = words::day(old.baseline.survey.date);
        if unsound {
            let closed = self.alerts.baseline_replaced(survey, &old.baseline.survey, why);
            changes.extend(closed);
        }
        let days = poor::days(good.iter().copied());
        let shares = self.knows_shares.shares(&mean.survey);
        let repeat_percent = self.history.tank.drift.survey_repeat_percent;
        let mut line = Line::new(mean, shares, repeat_percent);
        line.trial = old.trial;
        line.mean_because = Some(format!(
            "The baseline is the mean of the surveys of {days}: the one of {old_day} was poor, {why}."
        ));
        let limits = vec![format!(
            "The baseline of {old_day} is poor: {why}. From now on the baseline is the mean of the {} good surveys since, those of {days}.",
            good.len()
        )];
        Some(self.begin(survey, line, limits, std::mem::take(changes)))
    }

    fn close_for(&mut self, survey: &Survey, reset: &Upkeep) -> Vec<AlertChange> {
        let named = self.named;
        let baseline = self.history.tank.drift.baseline.clone();
        self.alerts.reset(survey, reset, |scene| match &baseline {
            Baseline::SinceChange => true,
            Baseline::First => false,
            Baseline::Survey(_) => named.is_some_and(|named| named.scene != *scene),
        })
    }
}

impl<'a> Line<'a> {
    fn new(baseline: Reference<'a>, shares: Shares, repeat_percent: f64) -> Self {
        // The baseline against itself: no change, with its own uncertainty instead of that of two. `compare` takes
        // the repeat of a survey and of a mean of n together, √(1 + 1/n); that of the mean alone is 1/√n.
        let alone = (2.0 / (1.0 + baseline.surveys() as f64)).sqrt();
        let mut itself = compare::compare(&baseline.survey, &baseline, repeat_percent * alone);
        for pair in &mut itself.pairs {
            pair.own = pair.own_then;
            for part in &mut pair.shared {
                *part /= std::f64::consts::SQRT_2;
            }
        }
        let field = fit::field(&itself.pairs, shares.fixtures.len(), &shares_of(&itself, &shares));
        let point = |change| TrendPoint {
            survey: Text::from(baseline.survey.id.as_str()),
            date: baseline.survey.date,
            change,
        };
        let fixture_trends = field
            .fixtures
            .iter()
            .filter_map(|(index, change)| Some((shares.fixtures.get(*index)?.clone(), vec![point(*change)])))
            .collect();
        Self {
            mean_because: None,
            trial: Trial::default(),
            even_trend: field.even.map(point).into_iter().collect(),
            fixture_trends,
            record: Record::new(&baseline.survey, &shares),
            shares,
            previous: Vec::new(),
            baseline,
        }
    }

    /// Where its trends lead.
    fn outlooks(&self, tank: &Tank, scene: Option<&str>) -> Vec<Outlook> {
        let whole = outlook(tank, scene, AlertTarget::Tank, &self.even_trend);
        let fixtures = self
            .fixture_trends
            .iter()
            .filter(|_| self.shares.fixtures.len() >= 2)
            .map(|(fixture, points)| outlook(tank, scene, AlertTarget::Fixture(fixture.clone()), points));
        std::iter::once(whole).chain(fixtures).collect()
    }

    /// Adds this survey's points to the trends.
    fn extend(&mut self, survey: &Survey, field: &Field) {
        let id = Text::from(survey.id.as_str());
        let point = |change| TrendPoint {
            survey: id.clone(),
            date: survey.date,
            change,
        };
        self.even_trend.extend(field.even.map(point));
        for (index, change) in &field.fixtures {
            let Some(id) = self.shares.fixtures.get(*index) else {
                continue;
            };
            match self.fixture_trends.iter_mut().find(|(fixture, _)| fixture == id) {
                Some((_, points)) => points.push(point(*change)),
                None => self.fixture_trends.push((id.clone(), vec![point(*change)])),
            }
        }
    }
}

/// Judges a survey against its baseline.
fn against(
    line: &mut Line<'_>,
    alerts: &mut Alerts,
    history: History<'_>,
    survey: &Survey,
    changes: Vec<AlertChange>,
) -> Judgement {
    let reference = line.baseline.clone();
    let baseline = &*reference.survey;
    let poor_before = line.record.clone();
    line.record.add(survey);
    let said = line.record.judge(&settings(history.tank));
    let repeat_percent = match &said {
        Some(said) if line.record.surveys() >= OWN_REPEAT_FROM => 100.0 * said.shared,
        _ => history.tank.drift.survey_repeat_percent,
    };
    let compared = compare::compare(survey, &reference, repeat_percent);
    let shares = shares_of(&compared, &line.shares);
    let field = fit::field(&compared.pairs, line.shares.fixtures.len(), &shares);
    let stations = station_changes(&compared, &field);
    let mut judgement = Judgement {
        baseline: Some(baseline.id.clone()),
        baseline_date: Some(baseline.date),
        baseline_mean_of: reference.mean_of.clone(),
        even: field.even,
        fixtures: fixture_changes(&field, &line.shares, &shares),
        fixtures_differ: field.differ,
        smallest_loss_percent: smallest_loss(&field, &compared.pairs),
        ..blank(survey, Verdict::NoChangeProven, compared.limits.clone(), changes)
    };
    if let Some(why) = too_poor(&compared.pairs, baseline) {
        // It is no part of what later surveys are judged by.
        line.record = poor_before;
        judgement.verdict = Verdict::TooPoor;
        judgement.limits.insert(0, why);
    } else {
        line.extend(survey, &field);
        let upkeep: Vec<&Upkeep> = {
            let mut entries: Vec<&Upkeep> = history
                .upkeep
                .iter()
                .filter(|entry| baseline.date < entry.date && entry.date <= survey.date)
                .collect();
            entries.sort_by_key(|entry| entry.date);
            entries
        };
        let outcome = alerts.look(&Finding {
            tank: history.tank,
            survey,
            baseline,
            fixtures: &line.shares.fixtures,
            field: &field,
            said: said.as_ref(),
            record: &line.record,
            stations: &stations,
            previous: &line.previous,
            even_trend: &line.even_trend,
            fixture_trends: &line.fixture_trends,
            upkeep: &upkeep,
        });
        judgement.alert_changes.extend(outcome.changes);
        judgement.limits.extend(outcome.waiting);
        judgement.verdict = if outcome.past_threshold {
            Verdict::PastThreshold
        } else if proven(&field, &stations) {
            Verdict::BelowThreshold
        } else {
            Verdict::NoChangeProven
        };
        line.previous = compared
            .pairs
            .iter()
            .zip(&field.places)
            .filter_map(|(pair, place)| Some((pair.station.clone(), (*place)?)))
            .collect();
    }
    judgement.stations = stations;
    judgement.even_trend.clone_from(&line.even_trend);
    judgement.fixture_trends.clone_from(&line.fixture_trends);
    judgement
}

fn settings(tank: &Tank) -> Settings {
    let drift = &tank.drift;
    Settings {
        priors: drift.priors,
        repeat_percent: drift.survey_repeat_percent,
    }
}

/// A judgement that says nothing of change.
fn blank(
    survey: &Survey,
    verdict: Verdict,
    limits: Vec<String>,
    alert_changes: Vec<AlertChange>,
) -> Judgement {
    Judgement {
        survey: survey.id.clone(),
        baseline: None,
        baseline_date: None,
        baseline_mean_of: Vec::new(),
        verdict,
        stations: Vec::new(),
        even: None,
        fixtures: Vec::new(),
        fixtures_differ: false,
        smallest_loss_percent: None,
        even_trend: Vec::new(),
        fixture_trends: Vec::new(),
        limits,
        alert_changes,
        open_alerts: Vec::new(),
    }
}

fn not_yet(baseline: &Baseline) -> String {
    let Baseline::Survey(id) = baseline else {
        return "There is no baseline yet.".to_owned();
    };
    format!("The baseline that the tank's file names, {id}, has not come yet.")
}

/// Each pair's shares of the light before.
fn shares_of<'s>(compared: &Compared, shares: &'s Shares) -> Vec<Option<&'s [f64]>> {
    compared
        .pairs
        .iter()
        .map(|pair| shares.stations.get(pair.index_then)?.as_deref())
        .collect()
}

fn station_changes(compared: &Compared, field: &Field) -> Vec<StationChange> {
    compared
        .pairs
        .iter()
        .zip(&field.places)
        .map(|(pair, place)| StationChange {
            station: pair.station.clone(),
            change: from_ln(pair.ln_ratio, pair.u()),
            left_over: place.map(|place| (100.0 * place.left_over, 100.0 * place.u)),
            outlying: place.is_some_and(|place| place.weight < OUTLYING_BELOW),
        })
        .collect()
}

fn fixture_changes(field: &Field, known: &Shares, shares: &[Option<&[f64]>]) -> Vec<FixtureChange> {
    field
        .fixtures
        .iter()
        .filter_map(|(index, change)| {
            let most = |shares: &&[f64]| shares.get(*index).is_some_and(|share| *share >= HALF);
            Some(FixtureChange {
                fixture: known.fixtures.get(*index)?.clone(),
                change: *change,
                stations: u32::try_from(shares.iter().flatten().filter(|s| most(s)).count())
                    .unwrap_or(u32::MAX),
            })
        })
        .collect()
}

/// The smallest even loss that would have shown with 95 %, percent; where places only stand for themselves, at
/// the best of them.
fn smallest_loss(field: &Field, pairs: &[Pair]) -> Option<f64> {
    let u = field
        .u_even
        .or_else(|| pairs.iter().map(Pair::u).min_by(f64::total_cmp))?;
    Some(-100.0 * (-ONE_SIDED_95 * u).exp_m1())
}

/// True where any change that may be spoken of leaves no change out of its 95 % interval.
fn proven(field: &Field, stations: &[StationChange]) -> bool {
    let whole: Vec<&Change> = match (&field.even, field.differ) {
        (None, _) => stations.iter().map(|station| &station.change).collect(),
        (Some(even), false) => vec![even],
        (Some(_), true) => field.fixtures.iter().map(|(_, change)| change).collect(),
    };
    whole.into_iter().any(is_proven)
}

/// Why a survey says too little to judge by, if so.
fn too_poor(pairs: &[Pair], baseline: &Survey) -> Option<String> {
    let telling = pairs.iter().filter(|pair| pair.tells_of_the_tank()).count();
    let of = baseline
        .stations
        .iter()
        .filter(|station| compare::usable(station).is_some())
        .count();
    if telling == 0 {
        return Some(format!(
            "No place has a value both here and in the baseline of {}: nothing can be judged.",
            words::day(baseline.date)
        ));
    }
    if telling < LEAST_PLACES && of >= LEAST_PLACES {
        return Some(format!(
            "Only {telling} of the {of} places of the baseline of {} can be compared: too few to judge by. At least {LEAST_PLACES} are needed.",
            words::day(baseline.date)
        ));
    }
    let doubtful = pairs.iter().filter(|pair| pair.doubtful).count();
    if 2 * doubtful > pairs.len() {
        return Some(format!(
            "{doubtful} of {} places compared are questionable: unsteady light, as with the pumps on, fixtures still warming up, or a reading off its place.",
            pairs.len()
        ));
    }
    None
}

/// Judges a tank's past, oldest survey first.
///
/// The judgement of a survey depends on it, on earlier surveys and on upkeep up to its day only. A survey too poor to
/// judge opens, moves and closes no alert and is left out of the trends; what it shows is told all the same.
pub fn judge(history: &History<'_>) -> Judged {
    judge_with(history, &crate::shares::Geometry { tank: history.tank })
}
