//! The invented past of a tank, and a site of forty.

use super::{change, eleven, film_on_west, judgement, loss, station_changes, survey, tank};
use jiff::civil::{Date, date};
use jiff::{Timestamp, ToSpan};
use undim_model::{
    About, Alert, AlertStep, AlertTarget, Cause, Judgement, Level, State, Survey, Tank, TrendPoint, Upkeep,
    UpkeepKind, Verdict,
};

/// A tank and all that its page is made of.
pub(crate) struct Past {
    pub(crate) tank: Tank,
    pub(crate) surveys: Vec<(Survey, Judgement)>,
    pub(crate) alerts: Vec<Alert>,
    pub(crate) upkeep: Vec<Upkeep>,
}

impl Past {
    pub(crate) fn pairs(&self) -> Vec<(&Survey, &Judgement)> {
        self.surveys
            .iter()
            .map(|(survey, judgement)| (survey, judgement))
            .collect()
    }
}

fn at_noon(day: Date) -> Timestamp {
    format!("{day}T12:00:00Z").parse().expect("a time")
}

fn upkeep(day: Date, what: UpkeepKind, target: Option<&str>, remark: Option<&str>) -> Upkeep {
    Upkeep {
        date: day,
        what,
        target: target.map(str::to_owned),
        remark: remark.map(str::to_owned),
    }
}

fn point(day: Date, percent: f64, u: f64) -> TrendPoint {
    TrendPoint {
        survey: format!("{day}-noon").into(),
        date: day,
        change: change(percent, u, [percent - 2.0 * u, percent + 2.0 * u]),
    }
}

/// Twenty-six monthly surveys: ageing, a new fixture with a new baseline, a film, cleaning, a film again.
#[expect(
    clippy::too_many_lines,
    reason = "one invented past, told from its beginning to its end"
)]
pub(crate) fn two_years() -> Past {
    let west = [
        0.0, 0.6, -1.2, -1.9, -3.0, -4.2, -4.6, -6.1, -7.4, -8.8, // ageing; then a new fixture
        0.0, -0.4, 0.5, -1.0, -6.0, -11.5, -0.6, 0.2, -0.9, -1.6, -1.2, -2.2, -3.1, -7.0, -11.0, -16.25,
    ];
    let east = [
        0.0, -0.3, 0.4, -1.0, -0.8, -1.4, -2.0, -1.7, -2.6, -2.9, 0.0, 0.3, -0.6, 0.1, -0.4, -0.9, -0.2,
        -1.1, -0.7, -1.6, -1.0, -1.9, -1.3, -2.1, -1.4, -1.0,
    ];
    let days: Vec<Date> = (0..26_i64)
        .map(|month| date(2024, 2, 10).checked_add((month * 30).days()).expect("a day"))
        .collect();
    let mut tank = tank(&[("west", 30.0), ("east", 90.0)]);
    tank.drift.every_seconds = Some(35 * 86_400);
    let mut surveys = Vec::new();
    for (index, day) in days.iter().enumerate() {
        let first = if index < 10 { 0 } else { 10 };
        let points = |percents: &[f64], u| -> Vec<TrendPoint> {
            (first..=index)
                .map(|at| point(days[at], percents[at], u))
                .collect()
        };
        let mut survey = survey(eleven());
        survey.id = format!("{day}-noon");
        survey.date = *day;
        survey.start = at_noon(*day);
        survey.end = at_noon(*day);
        let judged = Judgement {
            baseline: Some(format!("{}-noon", days[first])),
            baseline_date: Some(days[first]),
            verdict: match west[index] {
                _ if index == first => Verdict::Baseline,
                percent if percent < -7.0 => Verdict::PastThreshold,
                _ => Verdict::NoChangeProven,
            },
            even: Some(change(
                f64::midpoint(west[index], east[index]),
                1.4,
                [west[index] / 2.0 - 3.0, west[index] / 2.0 + 3.0],
            )),
            fixture_trends: vec![
                ("west".into(), points(&west, 2.0)),
                ("east".into(), points(&east, 1.5)),
            ],
            even_trend: points(&west.map(|percent| percent / 2.0), 1.4),
            stations: station_changes(&survey, |_| west[index] / 2.0),
            ..judgement(&survey)
        };
        surveys.push((survey, judged));
    }
    // The last one is the film that the other samples know.
    let last = loss();
    if let Some((survey, judged)) = surveys.last_mut() {
        let (id, day, trends, even) = (
            survey.id.clone(),
            survey.date,
            judged.fixture_trends.clone(),
            judged.even_trend.clone(),
        );
        let baseline = (judged.baseline.clone(), judged.baseline_date);
        *survey = Survey {
            id: id.clone(),
            date: day,
            start: at_noon(day),
            end: at_noon(day),
            ..last.survey
        };
        let mut open = last.judgement.open_alerts.clone();
        open[0].survey = Some(id.clone());
        *judged = Judgement {
            survey: id,
            baseline: baseline.0,
            baseline_date: baseline.1,
            fixture_trends: trends,
            even_trend: even,
            open_alerts: open,
            alert_changes: Vec::new(),
            ..last.judgement
        };
    }
    let open = Alert {
        opened: at_noon(days[24]),
        updated: at_noon(days[25]),
        ..film_on_west()
    };
    let closed = Alert {
        id: "harbour-west-2025-05-05".into(),
        state: State::Closed,
        opened: at_noon(days[15]),
        updated: at_noon(days[16]),
        closed: Some(at_noon(days[16])),
        change_percent: Some(-0.6),
        ci95: Some([-4.6, 3.4]),
        evidence: vec!["All 5 places lit by west read as they did before.".into()],
        ..film_on_west()
    };
    surveys[15].1.alert_changes = vec![undim_model::AlertChange {
        step: AlertStep::Opened,
        alert: Alert {
            change_percent: Some(-11.5),
            state: State::Open,
            closed: None,
            ..closed.clone()
        },
    }];
    let done = vec![
        upkeep(date(2024, 6, 2), UpkeepKind::WaterChanged, None, Some("a third")),
        upkeep(date(2024, 6, 9), UpkeepKind::CarbonChanged, None, None),
        upkeep(
            days[10].checked_sub(3.days()).expect("a day"),
            UpkeepKind::FixtureChanged,
            Some("west"),
            None,
        ),
        upkeep(
            days[16].checked_sub(1.days()).expect("a day"),
            UpkeepKind::LensCleaned,
            Some("west"),
            Some("salt creep on the cover"),
        ),
        upkeep(days[16], UpkeepKind::LensCleaned, Some("east"), None),
        upkeep(
            days[20].checked_sub(9.days()).expect("a day"),
            UpkeepKind::CoralsChanged,
            None,
            None,
        ),
    ];
    Past {
        tank,
        surveys,
        alerts: vec![closed, open],
        upkeep: done,
    }
}

/// Forty tanks: three with alerts of different weight, one overdue, one too poor, one without a rhythm.
pub(crate) fn forty() -> Vec<Past> {
    (0..40_u32)
        .map(|number| {
            let mut past = two_years();
            past.tank.id = format!("tank-{:02}", number + 1);
            past.tank.name = match number % 5 {
                0 => format!("Lagoon {}", number + 1),
                1 => format!("Quarantine {}", number + 1),
                2 => format!("Coral nursery {}, upper row", number + 1),
                3 => format!("Display {}", number + 1),
                _ => format!("Tank {}", number + 1),
            };
            for alert in &mut past.alerts {
                alert.tank.clone_from(&past.tank.id);
            }
            past.surveys.truncate(past.surveys.len() - (number as usize % 4));
            if !matches!(number, 4 | 20 | 36) {
                past.surveys
                    .truncate(past.surveys.len().min(22 + number as usize % 2));
                past.alerts.pop();
            }
            if number % 6 != 2 {
                past.tank.drift.every_seconds = Some(190 * 86_400);
            }
            match number {
                4 => past.alerts[1].level = Level::Urgent,
                20 => {
                    past.alerts[1].target = AlertTarget::Tank;
                    past.alerts[1].change_percent = Some(12.0);
                    past.alerts[1].ci95 = Some([8.0, 16.0]);
                }
                7 => {
                    let mut overdue = film_on_west();
                    overdue.about = About::Overdue;
                    overdue.target = AlertTarget::Tank;
                    overdue.cause = Option::<Cause>::None;
                    past.alerts.push(overdue);
                }
                9 => past.tank.drift.every_seconds = None,
                11 => {
                    if let Some((_, judgement)) = past.surveys.last_mut() {
                        judgement.verdict = Verdict::TooPoor;
                    }
                }
                _ => {}
            }
            past
        })
        .collect()
}
