//! The surveys themselves.

use super::{
    Scenario, change, eleven, film_on_west, judgement, spoil, station, station_changes, survey, tank, trend,
};
use jiff::Span;
use jiff::civil::date;
use undim_model::{
    AlertChange, AlertStep, AlertTarget, Alternative, Cause, FixtureChange, ImportProblem, Judgement, Reason,
    Tank, TrendPoint, Verdict,
};

/// A loss under one of two fixtures, with two places to read again.
pub(crate) fn loss() -> Scenario {
    let mut survey = survey(eleven());
    spoil(&mut survey, 3, Reason::Shadow, "an arm's shadow");
    spoil(&mut survey, 7, Reason::Tilt, "tilted too far");
    let stations = station_changes(&survey, |s| match s.position {
        Some(at) if at.from_left_cm < 50.0 => -16.0 + f64::from(at.from_bottom_cm as i32 % 3),
        Some(at) if at.from_left_cm < 70.0 => -7.5,
        _ => -0.6,
    });
    let alert = film_on_west();
    let judgement = Judgement {
        verdict: Verdict::PastThreshold,
        stations,
        fixtures: vec![
            FixtureChange {
                fixture: "west".into(),
                change: change(-16.25, 2.0, [-20.1, -12.4]),
                stations: 5,
            },
            FixtureChange {
                fixture: "east".into(),
                change: change(-1.0, 1.5, [-4.0, 2.0]),
                stations: 4,
            },
        ],
        fixtures_differ: true,
        even: Some(change(-8.0, 2.0, [-12.0, -4.0])),
        fixture_trends: vec![
            ("west".into(), trend(&[0.0, -2.0, -3.1, -7.0, -11.0, -16.25], 2.0)),
            ("east".into(), trend(&[0.0, 1.0, -1.0, 0.0, -2.1, -1.0], 1.5)),
        ],
        even_trend: trend(&[0.0, -0.5, -2.0, -3.5, -6.5, -8.0], 2.0),
        alert_changes: vec![AlertChange {
            step: AlertStep::Opened,
            alert: alert.clone(),
        }],
        open_alerts: vec![alert],
        limits: vec![
            "Read with the same phone and the same correction as in October; what both share cancels.".into(),
        ],
        ..judgement(&survey)
    };
    Scenario {
        name: "loss",
        tank: tank(&[("west", 30.0), ("east", 90.0)]),
        survey,
        judgement,
        earlier: Some("2026-02-14-noon".into()),
    }
}

/// More light in the whole tank.
pub(crate) fn gain() -> Scenario {
    let mut scenario = loss();
    scenario.name = "gain";
    scenario.survey.pumps_on = Some(true);
    scenario.judgement.fixtures_differ = false;
    scenario.judgement.even = Some(change(12.4, 2.0, [8.4, 16.4]));
    scenario.judgement.even_trend = trend(&[0.0, 0.4, -1.0, 0.3, 0.9, 12.4], 2.0);
    scenario.judgement.fixture_trends.clear();
    scenario.judgement.stations = station_changes(&scenario.survey, |_| 12.0);
    let mut alert = film_on_west();
    alert.target = AlertTarget::Tank;
    alert.change_percent = Some(12.4);
    alert.ci95 = Some([8.4, 16.4]);
    alert.cause = Some(Cause::LevelsChanged);
    alert.cause_probability = Some(0.5);
    alert.alike = vec![Cause::LevelsChanged, Cause::DeviceDrift];
    alert.alternatives = vec![Alternative {
        cause: Cause::DeviceDrift,
        probability: 0.4,
    }];
    alert.evidence = vec!["All nine places read more, and alike.".into()];
    scenario.judgement.open_alerts = vec![alert];
    scenario.judgement.alert_changes.clear();
    scenario
}

/// No change proven.
pub(crate) fn quiet() -> Scenario {
    let mut scenario = loss();
    scenario.name = "quiet";
    scenario.survey = survey(eleven());
    scenario.judgement = Judgement {
        stations: station_changes(&scenario.survey, |_| -0.8),
        even_trend: trend(&[0.0, 0.4, -1.0, 0.3, -0.9, -0.8], 1.4),
        ..judgement(&scenario.survey)
    };
    scenario
}

/// The first survey of a tank that nobody declared.
pub(crate) fn first_undeclared() -> Scenario {
    let mut survey = survey(eleven());
    survey.scene = None;
    survey.pumps_on = None;
    survey.water_cm = None;
    survey.tied_to_reference = false;
    for station in &mut survey.stations {
        station.declared = false;
        station.reasons.add(Reason::NoCorrection);
        station.correction = "".into();
    }
    survey.devices[0].declared = false;
    survey.devices[0].corrections.clear();
    let judgement = Judgement {
        verdict: Verdict::NoBaseline,
        baseline: None,
        baseline_date: None,
        baseline_mean_of: Vec::new(),
        even: None,
        ..judgement(&survey)
    };
    Scenario {
        name: "first-undeclared",
        tank: Tank::undeclared("harbour"),
        survey,
        judgement,
        earlier: None,
    }
}

/// One station and no position: table only.
pub(crate) fn no_positions() -> Scenario {
    let mut scenario = first_undeclared();
    scenario.name = "no-positions";
    scenario.survey.stations.truncate(1);
    scenario.survey.stations[0].position = None;
    scenario
}

/// One station in a declared tank, the baseline.
pub(crate) fn one_station() -> Scenario {
    let mut scenario = quiet();
    scenario.name = "one-station";
    scenario.survey.stations.truncate(1);
    scenario.judgement = Judgement {
        verdict: Verdict::Baseline,
        baseline: Some(scenario.survey.id.clone()),
        even: None,
        even_trend: trend(&[0.0], 1.5),
        ..judgement(&scenario.survey)
    };
    scenario.tank.fixtures.clear();
    scenario.earlier = None;
    scenario
}

/// Three fixtures, sixty stations in columns of three heights.
pub(crate) fn sixty() -> Scenario {
    let mut places = Vec::new();
    for column in 0..10_u8 {
        for row in 0..2_u8 {
            for level in 0..3_u8 {
                let left = 8.0 + 11.5 * f64::from(column);
                let front = 12.0 + 21.0 * f64::from(row);
                let bottom = 8.0 + 15.0 * f64::from(level);
                let ppfd = 70.0 + 60.0 * f64::from(level) + 9.0 * f64::from((column * 7 + row * 3) % 10);
                places.push(station(
                    &format!("{}{}{}", char::from(b'a' + column), row + 1, level + 1),
                    Some([left, bottom, front]),
                    ppfd,
                    0.015 * ppfd,
                    0.036 * ppfd,
                ));
            }
        }
    }
    let mut survey = survey(places);
    spoil(&mut survey, 17, Reason::Unsteady, "unsteady; were the pumps on?");
    let stations = station_changes(&survey, |s| match s.position {
        Some(at) if at.from_left_cm < 40.0 => -11.0,
        Some(at) if at.from_left_cm > 100.0 => 9.0,
        _ => 0.4,
    });
    let base = loss();
    let fixtures = [("left", -11.0), ("middle", 0.4), ("right", 6.0)];
    let mut alert = film_on_west();
    alert.target = AlertTarget::Fixture("left".into());
    alert.change_percent = Some(-11.0);
    alert.ci95 = Some([-14.0, -8.0]);
    let judgement = Judgement {
        stations,
        fixtures: fixtures
            .iter()
            .map(|(id, percent)| FixtureChange {
                fixture: (*id).into(),
                change: change(*percent, 1.5, [percent - 3.0, percent + 3.0]),
                stations: 20,
            })
            .collect(),
        fixture_trends: fixtures
            .iter()
            .map(|(id, percent)| {
                let steps: Vec<f64> = (0..6).map(|n| percent * f64::from(n) / 5.0).collect();
                ((*id).to_owned(), trend(&steps, 1.5))
            })
            .collect(),
        open_alerts: vec![alert],
        ..base.judgement
    };
    Scenario {
        name: "sixty",
        tank: tank(&[("left", 20.0), ("middle", 60.0), ("right", 100.0)]),
        survey,
        judgement,
        earlier: Some("2026-02-14-noon".into()),
    }
}

/// Names that try to break out, and very long ones.
pub(crate) fn hostile() -> Scenario {
    const NAMES: [&str; 6] = [
        "<script>alert(1)</script>",
        "\"><img src=x onerror=alert(1)>",
        "a-very-long-station-name-that-nobody-would-ever-type-by-hand",
        "=HYPERLINK(\"http://example.org\")",
        "光の場所・西側の一番上の段",
        "\u{202e}gnp.exe & </style><svg/onload=alert(1)>",
    ];
    let mut scenario = loss();
    scenario.name = "hostile";
    scenario.tank.name =
        "<b>Harbour</b> & a very long name of a tank that goes on and on beyond every line".into();
    scenario.tank.fixtures[0].id = "<i>west</i>-with-a-long-long-name".into();
    scenario.tank.corals[0].id = NAMES[0].into();
    scenario.survey.sources[0].path = NAMES[1].into();
    scenario.survey.sources[0].remark = Some(NAMES[5].into());
    scenario.survey.sources[0].problems.push(ImportProblem {
        line: 7,
        column: 3,
        text: "\"12,3,4\" is no number <script>".into(),
    });
    scenario.survey.said.push(NAMES[0].into());
    for (index, name) in NAMES.iter().enumerate() {
        scenario.survey.stations[index].station = (*name).into();
    }
    scenario.survey.read_again[0].station = scenario.survey.stations[3].station.clone();
    scenario.judgement.stations = station_changes(&scenario.survey, |_| -16.0);
    let fixture = scenario.tank.fixtures[0].id.clone();
    scenario.judgement.fixtures[0].fixture.clone_from(&fixture);
    scenario.judgement.fixture_trends[0].0.clone_from(&fixture);
    scenario.judgement.open_alerts[0].target = AlertTarget::Fixture(fixture);
    scenario.judgement.open_alerts[0].evidence.push(NAMES[1].into());
    scenario.judgement.open_alerts[0].next_step.push(NAMES[0].into());
    scenario
}

/// Nothing can be used.
pub(crate) fn all_bad() -> Scenario {
    let mut scenario = quiet();
    scenario.name = "all-bad";
    for index in 0..scenario.survey.stations.len() {
        spoil(
            &mut scenario.survey,
            index,
            Reason::Unsteady,
            "unsteady; were the pumps on?",
        );
    }
    scenario.judgement = Judgement {
        verdict: Verdict::TooPoor,
        even: None,
        smallest_loss_percent: None,
        limits: vec!["None of 11 places could be used; at least 3 are needed.".into()],
        ..judgement(&scenario.survey)
    };
    scenario
}

/// Forty surveys of slow ageing: trends with many points.
pub(crate) fn forty() -> Scenario {
    let mut scenario = loss();
    scenario.name = "forty";
    let many = |fall: f64| -> Vec<TrendPoint> {
        (0..40_i32)
            .map(|number| {
                let percent = -fall * f64::from(number) + f64::from(number * 7 % 5) * 0.4 - 0.8;
                TrendPoint {
                    survey: format!("survey-{number}").into(),
                    date: date(2022, 12, 10).saturating_add(Span::new().days(30 * number)),
                    change: change(percent, 1.4, [percent - 2.8, percent + 2.8]),
                }
            })
            .collect()
    };
    scenario.judgement.fixture_trends = vec![("west".into(), many(0.42)), ("east".into(), many(0.05))];
    scenario.judgement.baseline_date = Some(date(2022, 12, 10));
    scenario
}

/// All of them.
pub(crate) fn all() -> Vec<Scenario> {
    vec![
        loss(),
        gain(),
        quiet(),
        first_undeclared(),
        no_positions(),
        one_station(),
        sixty(),
        forty(),
        hostile(),
        all_bad(),
    ]
}
