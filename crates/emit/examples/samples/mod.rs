//! Invented surveys for tests and sample pages: a tank that does not exist, light from a made-up rule.
#![allow(dead_code, reason = "each user of these samples takes only some of them")]

use jiff::civil::{Date, date};
use undim_model::*;

/// Everything that a page of one survey needs.
pub(crate) struct Scenario {
    /// What the page's file is called.
    pub(crate) name: &'static str,
    pub(crate) tank: Tank,
    pub(crate) survey: Survey,
    pub(crate) judgement: Judgement,
    pub(crate) open_alerts: Vec<Alert>,
    pub(crate) earlier: Option<String>,
}

/// A survey of two stations, one good and one bad, and its judgement: for tests of exact texts.
pub(crate) fn small() -> (Survey, Judgement) {
    let mut survey = survey(vec![
        station("w1", Some([12.0, 8.0, 15.0]), 118.0, 3.0, 4.0),
        station("w2", Some([24.0, 30.0, 33.5]), 243.0, 3.0, 4.0),
    ]);
    survey.stations[0].shared = vec![
        SharedPart {
            kind: SharedKind::Rezero,
            u_ppfd: 2.36,
        },
        SharedPart {
            kind: SharedKind::Fit,
            u_ppfd: 3.23,
        },
    ];
    spoil(&mut survey, 1, Reason::Shadow, "arm's shadow");
    let change = change(-16.25, 2.0, [-20.1, -12.4]);
    let alert = film_on_west();
    let judgement = Judgement {
        stations: vec![StationChange {
            station: "w1".into(),
            change,
            left_over: None,
            outlying: false,
        }],
        fixtures: vec![
            FixtureChange {
                fixture: "west".into(),
                change,
                stations: 5,
            },
            FixtureChange {
                fixture: "east".into(),
                change: self::change(-1.0, 1.5, [-4.0, 2.0]),
                stations: 4,
            },
        ],
        fixtures_differ: true,
        verdict: Verdict::PastThreshold,
        alert_changes: vec![AlertChange {
            step: AlertStep::Opened,
            alert,
        }],
        ..judgement(&survey)
    };
    (survey, judgement)
}

fn film_on_west() -> Alert {
    Alert {
        id: "harbour-west-2026-03-14".into(),
        tank: "harbour".into(),
        about: About::Light,
        state: State::Open,
        level: Level::Notice,
        cause: Some(Cause::LensDirty),
        cause_probability: Some(0.74),
        target: AlertTarget::Fixture("west".into()),
        change_percent: Some(-16.25),
        ci95: Some([-20.1, -12.4]),
        survey: Some("2026-03-14-noon".into()),
        baseline: Some("2025-10-11-noon".into()),
        opened: "2026-03-14T12:00:00Z".parse().expect("a time"),
        updated: "2026-03-14T12:00:00Z".parse().expect("a time"),
        closed: None,
        evidence: vec!["4 of 5 places lit by west read less; none lit by east does.".into()],
        next_step: Vec::new(),
        alternatives: vec![
            Alternative {
                cause: Cause::FixtureAgeing,
                probability: 0.16,
            },
            Alternative {
                cause: Cause::FixtureFault,
                probability: 0.10,
            },
        ],
        alike: Vec::new(),
        p_real: Some(0.998),
    }
}

fn change(percent: f64, u_percent: f64, ci95: [f64; 2]) -> Change {
    Change {
        percent,
        u_percent,
        ci95,
        p_real: if ci95[0] > 0.0 || ci95[1] < 0.0 { 0.99 } else { 0.7 },
    }
}

fn station(name: &str, at: Option<[f64; 3]>, ppfd: f64, u_own: f64, u_shared: f64) -> StationValue {
    StationValue {
        station: name.into(),
        declared: true,
        position: at.map(Position::from),
        readings: 5,
        used: 5,
        value: Some(Measured {
            ppfd,
            u_own,
            u_shared,
        }),
        device: "bagged-phone".into(),
        correction: "2026-03-01 line".into(),
        shared: vec![
            SharedPart {
                kind: SharedKind::Rezero,
                u_ppfd: 0.02 * ppfd,
            },
            SharedPart {
                kind: SharedKind::Fit,
                u_ppfd: 0.03 * ppfd,
            },
        ],
        gradient_per_cm: None,
        scatter_percent: Some(1.2),
        flag: Flag::Good,
        reasons: Reasons::NONE,
    }
}

fn spoil(survey: &mut Survey, index: usize, reason: Reason, why: &str) {
    let station = &mut survey.stations[index];
    station.used = 0;
    station.value = None;
    station.flag = Flag::Bad;
    station.reasons.add(reason);
    survey.read_again.push(ReadAgain {
        station: station.station.clone(),
        why: why.to_owned(),
    });
    survey.counts.good = survey.counts.good.saturating_sub(5);
    survey.counts.bad += 5;
}

fn survey(stations: Vec<StationValue>) -> Survey {
    let readings = 5 * stations.len() as u64;
    Survey {
        tank: "harbour".into(),
        id: "2026-03-14-noon".into(),
        revision: 1,
        scene: Some("noon".into()),
        replaces: Vec::new(),
        start: "2026-03-14T12:00:00Z".parse().expect("a time"),
        end: "2026-03-14T12:21:30Z".parse().expect("a time"),
        date: date(2026, 3, 14),
        timezone: "Europe/Lisbon".into(),
        sources: vec![SourceFile {
            path: "harbour/bagged-phone/2026-03-14.csv".into(),
            blake3: "4f1c9b7e".repeat(8),
            importer: "delimited".into(),
            importer_version: "0.1.0".into(),
            rows: readings,
            facts: vec![
                Fact {
                    key: "delimiter".into(),
                    value: ";".into(),
                    assumed: true,
                },
                Fact {
                    key: "decimal".into(),
                    value: ",".into(),
                    assumed: true,
                },
                Fact {
                    key: "columns.value".into(),
                    value: "PPFD".into(),
                    assumed: false,
                },
            ],
            problems: Vec::new(),
            remark: Some("glass cleaned the day before".into()),
            taken_by: None,
            renamed: Vec::new(),
        }],
        devices: vec![DeviceUse {
            id: "bagged-phone".into(),
            name: "Phone in a bag".into(),
            is_reference: false,
            declared: true,
            readings,
            corrections: vec!["valid from 2026-03-01: line fit over 42 pairs with hired-reference".into()],
            rezero_percent: 2.0,
        }],
        stations,
        counts: FlagCounts {
            good: readings,
            ..FlagCounts::default()
        },
        pumps_on: Some(false),
        water_cm: Some(50.0),
        read_again: Vec::new(),
        said: vec!["Times without an offset were taken in Europe/Lisbon.".into()],
        tied_to_reference: true,
    }
}

fn judgement(survey: &Survey) -> Judgement {
    Judgement {
        survey: survey.id.clone(),
        baseline: Some("2025-10-11-noon".into()),
        baseline_date: Some(date(2025, 10, 11)),
        verdict: Verdict::NoChangeProven,
        stations: Vec::new(),
        even: Some(change(-0.8, 1.4, [-3.5, 1.9])),
        fixtures: Vec::new(),
        fixtures_differ: false,
        smallest_loss_percent: Some(4.7),
        even_trend: Vec::new(),
        fixture_trends: Vec::new(),
        limits: Vec::new(),
        alert_changes: Vec::new(),
    }
}

fn fixture(id: &str, left: f64) -> Fixture {
    Fixture {
        id: id.into(),
        centre: Position::new(left, 75.0, 30.0),
        size_cm: [24.0, 20.0],
        installed: None,
        lenses: Vec::new(),
        span: DateSpan::ALWAYS,
    }
}

fn tank(fixtures: &[(&str, f64)]) -> Tank {
    Tank {
        id: "harbour".into(),
        name: "Harbour tank".into(),
        declared: true,
        inside: vec![Inside {
            length_cm: 120.0,
            front_to_back_cm: 45.0,
            height_cm: 55.0,
            water_cm: Some(50.0),
            ..Inside::default()
        }],
        fixtures: fixtures.iter().map(|(id, left)| fixture(id, *left)).collect(),
        corals: [
            (
                "plating-1",
                [34.0, 37.0, 22.0],
                Some(LightRange::Ppfd(100.0, 200.0)),
            ),
            ("brain-1", [12.0, 8.0, 15.0], Some(LightRange::Ppfd(130.0, 180.0))),
            ("branching-2", [84.0, 36.0, 24.0], Some(LightRange::Dli(4.0, 8.0))),
            ("far-off", [60.0, 2.0, 44.0], Some(LightRange::Ppfd(50.0, 80.0))),
        ]
        .into_iter()
        .map(|(id, at, wanted)| Coral {
            id: id.into(),
            at: at.into(),
            wanted,
            span: DateSpan::ALWAYS,
        })
        .collect(),
        ..Tank::default()
    }
}

const PLACES: [(&str, [f64; 3], f64); 11] = [
    ("w1", [12.0, 8.0, 15.0], 118.0),
    ("w2", [24.0, 28.0, 28.0], 243.0),
    ("w3", [36.0, 34.0, 21.0], 276.0),
    ("w4", [44.0, 20.0, 33.0], 190.0),
    ("w5", [30.0, 14.0, 40.0], 151.0),
    ("c1", [60.0, 26.0, 18.0], 164.0),
    ("c2", [60.0, 18.0, 41.0], 139.0),
    ("e1", [74.0, 20.0, 38.0], 201.0),
    ("e2", [84.0, 36.0, 27.0], 288.0),
    ("e3", [97.0, 25.0, 19.0], 231.0),
    ("e4", [109.0, 6.0, 35.0], 96.0),
];

fn eleven() -> Vec<StationValue> {
    PLACES
        .iter()
        .map(|(name, at, ppfd)| station(name, Some(*at), *ppfd, 0.015 * ppfd, 0.036 * ppfd))
        .collect()
}

fn trend(percents: &[f64], u_percent: f64) -> Vec<TrendPoint> {
    let days: [Date; 6] = [
        date(2025, 10, 11),
        date(2025, 11, 8),
        date(2025, 12, 13),
        date(2026, 1, 10),
        date(2026, 2, 14),
        date(2026, 3, 14),
    ];
    percents
        .iter()
        .zip(days)
        .map(|(percent, day)| TrendPoint {
            survey: format!("{day}-noon"),
            date: day,
            change: change(
                *percent,
                u_percent,
                [percent - 2.0 * u_percent, percent + 2.0 * u_percent],
            ),
        })
        .collect()
}

fn station_changes(survey: &Survey, percent: impl Fn(&StationValue) -> f64) -> Vec<StationChange> {
    survey
        .stations
        .iter()
        .filter(|station| station.value.is_some())
        .map(|station| {
            let percent = percent(station);
            StationChange {
                station: station.station.clone(),
                change: change(percent, 2.4, [percent - 4.7, percent + 4.7]),
                left_over: Some((0.6, 1.9)),
                outlying: false,
            }
        })
        .collect()
}

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
        open_alerts: vec![alert],
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
    scenario.open_alerts = vec![alert];
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
    scenario.open_alerts.clear();
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
        station.flag = Flag::NotEvaluated;
        station.reasons.add(Reason::NoCorrection);
        station.correction = "".into();
    }
    survey.devices[0].declared = false;
    survey.devices[0].corrections.clear();
    let judgement = Judgement {
        verdict: Verdict::NoBaseline,
        baseline: None,
        baseline_date: None,
        even: None,
        ..judgement(&survey)
    };
    Scenario {
        name: "first-undeclared",
        tank: Tank::undeclared("harbour"),
        survey,
        judgement,
        open_alerts: Vec::new(),
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
        ..base.judgement
    };
    Scenario {
        name: "sixty",
        tank: tank(&[("left", 20.0), ("middle", 60.0), ("right", 100.0)]),
        survey,
        judgement,
        open_alerts: vec![alert],
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
    scenario.judgement.fixtures[0].fixture = scenario.tank.fixtures[0].id.clone();
    scenario.judgement.fixture_trends[0].0 = scenario.tank.fixtures[0].id.clone();
    scenario.open_alerts[0].target = AlertTarget::Fixture(scenario.tank.fixtures[0].id.clone());
    scenario.open_alerts[0].evidence.push(NAMES[1].into());
    scenario.open_alerts[0].next_step.push(NAMES[0].into());
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
        hostile(),
        all_bad(),
    ]
}
