//! Invented surveys for tests and sample pages: a tank that does not exist, light from a made-up rule.
#![allow(
    dead_code,
    unused_imports,
    reason = "each user of these samples takes only some of them"
)]

mod past;
mod scenarios;

use jiff::civil::{Date, date};
use undim_model::{
    About, Alert, AlertChange, AlertStep, AlertTarget, Alternative, Cause, Change, Coral, DateSpan,
    DeviceUse, Fact, Fixture, FixtureChange, Flag, FlagCounts, Inside, Judgement, Level, LightRange,
    Measured, Position, ReadAgain, Reason, Reasons, SharedKind, SharedPart, SourceFile, State, StationChange,
    StationValue, Survey, Tank, TrendPoint, Verdict,
};

pub(crate) use past::{Past, forty, two_years};
pub(crate) use scenarios::{
    all, all_bad, first_undeclared, gain, hostile, loss, no_positions, one_station, quiet,
};

/// Everything that a page of one survey needs.
pub(crate) struct Scenario {
    /// What the page's file is called.
    pub(crate) name: &'static str,
    pub(crate) tank: Tank,
    pub(crate) survey: Survey,
    pub(crate) judgement: Judgement,
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
            alert: alert.clone(),
        }],
        open_alerts: vec![alert],
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
        u_place_ppfd: None,
        u_tilt_ppfd: None,
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
            notes: Vec::new(),
            renamed: Vec::new(),
        }],
        withdrawn: Vec::new(),
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
        baseline_mean_of: Vec::new(),
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
        open_alerts: Vec::new(),
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
            survey: format!("{day}-noon").into(),
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
