//! Baselines, uncertainties, upkeep, scenes, words: worked by hand.

use super::judged;
use crate::judge::History;
use crate::simulate::{NoFixtures, Noise, Simulated, month, station, survey};
use proptest::prelude::*;
use undim_model::{
    AlertStep, AlertTarget, Baseline, Cause, DateSpan, Fixture, Flag, Inside, Judgement, Position, Reason,
    SharedKind, SharedPart, StationValue, Survey, Tank, Text, Upkeep, UpkeepKind, Verdict,
};

fn upkeep(day: jiff::civil::Date, what: UpkeepKind) -> Upkeep {
    Upkeep {
        date: day,
        what,
        target: None,
        remark: None,
    }
}

/// `n` places at the same light, 1 % own, with these shared parts in percent.
fn places(n: usize, ppfd: f64, shared: &[(SharedKind, f64)]) -> Vec<StationValue> {
    let parts: Vec<SharedPart> = shared
        .iter()
        .map(|(kind, percent)| SharedPart {
            kind: *kind,
            u_ppfd: ppfd * percent / 100.0,
        })
        .collect();
    (0..n)
        .map(|i| station(&format!("p{i}"), None, ppfd, ppfd * 0.01, &parts))
        .collect()
}

fn levels(ppfds: &[f64]) -> Vec<Survey> {
    ppfds
        .iter()
        .enumerate()
        .map(|(t, ppfd)| survey(month(t), "noon", places(5, *ppfd, &[])))
        .collect()
}

fn tank() -> Tank {
    let mut tank = Tank::undeclared("harbour");
    tank.drift.survey_repeat_percent = 1.0;
    tank
}

fn near(value: f64, expected: f64) {
    assert!(
        (value - expected).abs() < 1e-6 * expected.abs().max(1.0),
        "{value} is not {expected}"
    );
}

#[test]
fn uncertainties_of_one_device_add_up_by_hand() {
    let shared = [
        (SharedKind::Calibration, 5.0),
        (SharedKind::Rezero, 1.5),
        (SharedKind::RodHeight, 0.5),
    ];
    let surveys = [
        survey(month(0), "noon", places(4, 200.0, &shared)),
        survey(month(1), "noon", places(4, 180.0, &shared)),
    ];
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    let judgement = &judged.judgements[1];
    let change = judgement.stations[0].change;
    near(change.percent, -10.0);
    // Calibration cancels; own 1 %, re-zeroing 1.5 %, rod 0.5 % and repeat 1 % count once for each survey.
    let u = (2.0_f64 * (1.0 + 1.5 * 1.5 + 0.25 + 1.0)).sqrt();
    near(change.u_percent, 0.9 * u);
    // Even: four places average the own part only.
    let even = judgement.even.unwrap();
    near(even.percent, -10.0);
    near(
        even.u_percent,
        0.9 * (2.0_f64 * (0.25 + 1.5 * 1.5 + 0.25 + 1.0)).sqrt(),
    );
    near(
        judgement.smallest_loss_percent.unwrap(),
        100.0 * (1.0 - (-1.644_853_626_951_472_7 * even.u_percent / 90.0).exp()),
    );
    assert!(judgement.limits.is_empty(), "{:?}", judgement.limits);
}

#[test]
fn another_device_brings_its_whole_uncertainty_and_says_so() {
    let shared = [(SharedKind::Calibration, 5.0)];
    let mut surveys = [
        survey(month(0), "noon", places(4, 200.0, &shared)),
        survey(month(1), "noon", places(4, 180.0, &shared)),
    ];
    for station in &mut surveys[1].stations {
        station.device = Text::from("hired-reference");
    }
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    let judgement = &judged.judgements[1];
    near(
        judgement.stations[0].change.u_percent,
        0.9 * (2.0_f64 * (1.0 + 25.0 + 1.0)).sqrt(),
    );
    assert!(judgement.alert_changes.is_empty());
    assert!(
        judgement.limits[0].contains("another device or correction"),
        "{:?}",
        judgement.limits
    );
}

#[test]
fn a_lasting_part_of_another_size_leaves_its_difference() {
    let surveys = [
        survey(
            month(0),
            "noon",
            places(3, 100.0, &[(SharedKind::DeviceDrift, 1.0)]),
        ),
        survey(
            month(1),
            "noon",
            places(3, 100.0, &[(SharedKind::DeviceDrift, 1.75)]),
        ),
    ];
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    near(
        judged.judgements[1].stations[0].change.u_percent,
        (2.0_f64 * (1.0 + 1.0) + 0.75 * 0.75).sqrt(),
    );
}

#[test]
fn the_baseline_is_the_first_survey_since_what_resets() {
    let surveys = levels(&[200.0, 200.0, 150.0, 150.0]);
    let day = surveys[2].date;
    for (what, expected) in [
        (UpkeepKind::LevelsChanged, 2),
        (UpkeepKind::FixtureChanged, 2),
        (UpkeepKind::RockMoved, 2),
        (UpkeepKind::LensCleaned, 0),
        (UpkeepKind::CarbonChanged, 0),
    ] {
        let judged = judged(&tank(), &surveys, &[upkeep(day, what)], &NoFixtures);
        let last = &judged.judgements[3];
        assert_eq!(last.baseline.as_ref(), Some(&surveys[expected].id), "{what:?}");
        assert_eq!(last.even_trend.len(), 4 - expected);
        let third = &judged.judgements[2];
        assert_eq!(third.verdict == Verdict::Baseline, expected == 2);
        if expected == 2 {
            assert!(third.baseline.is_none() && third.stations.is_empty());
            assert!(third.limits[0].contains("On this very day"));
        }
    }
}

#[test]
fn first_and_named_baselines_hold_through_resets() {
    let surveys = levels(&[200.0, 200.0, 150.0, 150.0]);
    let resets = [upkeep(surveys[2].date, UpkeepKind::LevelsChanged)];
    let mut tank = tank();
    tank.drift.baseline = Baseline::First;
    let judged_first = judged(&tank, &surveys, &resets, &NoFixtures);
    assert_eq!(judged_first.judgements[3].baseline.as_ref(), Some(&surveys[0].id));
    tank.drift.baseline = Baseline::Survey(surveys[1].id.clone());
    let named = judged(&tank, &surveys, &resets, &NoFixtures);
    let verdicts: Vec<Verdict> = named
        .judgements
        .iter()
        .map(|judgement| judgement.verdict)
        .collect();
    assert_eq!(
        verdicts,
        [
            Verdict::NoBaseline,
            Verdict::Baseline,
            // Everything alike at the last survey may be a slip: it waits for a second look.
            Verdict::BelowThreshold,
            Verdict::PastThreshold
        ]
    );
    assert_eq!(named.judgements[3].baseline.as_ref(), Some(&surveys[1].id));
}

#[test]
fn each_scene_has_its_own_baseline_and_one_event_one_alert() {
    let mut surveys = Vec::new();
    for (t, ppfd) in [200.0, 200.0, 150.0, 150.0].into_iter().enumerate() {
        surveys.push(survey(month(t), "dawn", places(5, ppfd / 10.0, &[])));
        let mut noon = survey(month(t), "noon", places(5, ppfd, &[]));
        noon.start += jiff::SignedDuration::from_hours(1);
        surveys.push(noon);
    }
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    assert_eq!(judged.judgements[7].baseline.as_deref(), Some("2026-01-05-noon"));
    assert_eq!(judged.judgements[6].baseline.as_deref(), Some("2026-01-05-dawn"));
    assert_eq!(judged.alerts.len(), 1);
    assert_eq!(judged.alerts[0].id, "2026-04-05-dawn-whole-tank-loss");
    assert_eq!(judged.judgements[5].verdict, Verdict::BelowThreshold);
    assert_eq!(judged.judgements[7].verdict, Verdict::PastThreshold);
}

#[test]
fn upkeep_that_resets_closes_an_open_alert_and_says_why() {
    let surveys = levels(&[200.0, 150.0, 150.0, 150.0, 150.0]);
    let resets = [upkeep(surveys[3].date, UpkeepKind::LevelsChanged)];
    let judged = judged(&tank(), &surveys, &resets, &NoFixtures);
    assert_eq!(judged.judgements[2].alert_changes[0].step, AlertStep::Opened);
    let closed = &judged.judgements[3].alert_changes[0];
    assert_eq!(closed.step, AlertStep::Closed);
    assert!(closed.alert.evidence[0].contains("levels changed on 5 April 2026"));
    assert_eq!(closed.alert.closed, Some(surveys[3].start));
    assert_eq!(judged.open_alerts().count(), 0);
}

#[test]
fn a_growing_loss_is_raised_once() {
    let surveys = levels(&[200.0, 180.0, 181.0, 179.0, 150.0, 140.0, 155.0, 150.0]);
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    let steps: Vec<AlertStep> = judged
        .judgements
        .iter()
        .flat_map(|judgement| judgement.alert_changes.iter().map(|change| change.step))
        .filter(|step| *step != AlertStep::Changed)
        .collect();
    assert_eq!(steps, [AlertStep::Opened, AlertStep::Raised]);
    let alert = &judged.alerts[0];
    // The present state is that of the last survey.
    assert_eq!(alert.survey.as_ref(), Some(&surveys[7].id));
    assert_eq!(alert.updated, surveys[7].start);
    assert_eq!(alert.opened, surveys[3].start);
    let change = alert.change_percent.unwrap();
    assert!((-29.0..=-21.0).contains(&change), "{change}");
    assert!((0.95..=1.0).contains(&alert.p_real.unwrap()));
}

#[test]
fn a_survey_too_poor_to_judge_opens_nothing_and_says_why() {
    let mut surveys = levels(&[200.0, 100.0, 100.0, 100.0]);
    surveys[1].stations.truncate(2);
    for station in &mut surveys[2].stations {
        station.flag = Flag::Questionable;
        station.reasons.add(Reason::Unsteady);
    }
    for station in &mut surveys[3].stations {
        station.flag = Flag::Bad;
        station.value = None;
    }
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    for (judgement, word) in
        judged.judgements[1..]
            .iter()
            .zip(["Only 2 of the 5", "questionable", "No place"])
    {
        assert_eq!(judgement.verdict, Verdict::TooPoor);
        assert!(judgement.limits[0].contains(word), "{:?}", judgement.limits);
        assert!(judgement.alert_changes.is_empty());
    }
    assert!(judged.alerts.is_empty());
    // What it shows is told all the same.
    assert_eq!(judged.judgements[1].stations.len(), 2);
}

#[test]
fn a_tank_of_one_place_is_judged_at_that_place() {
    let of = |ppfds: [f64; 4]| -> Vec<Survey> {
        ppfds
            .into_iter()
            .enumerate()
            .map(|(t, ppfd)| survey(month(t), "noon", places(1, ppfd, &[(SharedKind::Rezero, 1.0)])))
            .collect()
    };
    let surveys = of([200.0, 199.0, 170.0, 201.0]);
    let judged_ = judged(&tank(), &surveys, &[], &NoFixtures);
    let judgement = &judged_.judgements[2];
    assert!(judgement.even.is_none() && judgement.smallest_loss_percent.is_some());
    assert_eq!(
        judgement.alert_changes[0].alert.target,
        AlertTarget::Station("p0".to_owned())
    );
    assert_eq!(judged_.judgements[3].alert_changes[0].step, AlertStep::Closed);
}

#[test]
fn nothing_and_nonsense_are_judged_without_harm() {
    assert!(judged(&tank(), &[], &[], &NoFixtures).judgements.is_empty());
    let mut surveys = levels(&[200.0, f64::NAN, 0.0, -5.0, f64::INFINITY, 1e-300, 1e300]);
    surveys.insert(1, survey(month(0), "noon", Vec::new()));
    let last = surveys[3].stations.first_mut().unwrap();
    last.value.as_mut().unwrap().u_own = f64::INFINITY;
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    assert_eq!(judged.judgements.len(), surveys.len());
    assert_eq!(judged.judgements[0].verdict, Verdict::Baseline);
    assert_eq!(judged.judgements[1].verdict, Verdict::TooPoor);
}

#[test]
fn a_film_says_how_far_the_light_will_jump_and_to_turn_down_first() {
    let mut simulated = Simulated::new(21, Noise::shared(0.5));
    let surveys: Vec<Survey> = (0..4)
        .map(|t| simulated.survey(month(t), &[if t < 3 { 1.0 } else { 0.8 }, 1.0], |_| 1.0))
        .collect();
    let entries = [upkeep(month(2), UpkeepKind::CarbonChanged)];
    let judged = judged(&simulated.tank, &surveys, &entries, &simulated);
    let alert = &judged.judgements[3].alert_changes[0].alert;
    assert_eq!(alert.cause, Some(Cause::LensDirty));
    assert_eq!(alert.alike, [Cause::FixtureFault, Cause::LevelsChanged]);
    let probability = alert.cause_probability.unwrap();
    assert!((0.3..=0.6).contains(&probability), "{probability}");
    let all: f64 = alert.alternatives.iter().map(|other| other.probability).sum();
    assert!(all + probability <= 1.0 + 1e-9 && all > 0.3, "{alert:?}");
    let lost = -alert.change_percent.unwrap();
    let steps = alert.next_step.join(" ");
    assert!(steps.contains(&format!("jump by {:.0} %", 100.0 * lost / (100.0 - lost))));
    let (down, unplug) = (
        steps.find("turn the west fixture down").unwrap(),
        steps.find("Unplug it").unwrap(),
    );
    assert!(down < unplug);
    assert!(steps.contains("licensed electrician") && steps.contains("turn the pumps back on"));
    let evidence = alert.evidence.join(" ");
    assert!(
        evidence.contains("the east fixture:") && evidence.contains("no change proven"),
        "{evidence}"
    );
    assert!(evidence.contains("It began between 5 March 2026"), "{evidence}");
    assert!(evidence.contains("carbon changed on 5 March 2026"), "{evidence}");
}

#[test]
fn no_step_tells_to_make_light_stronger() {
    use crate::steps::next_step;
    use undim_model::Direction;
    for direction in [Direction::Loss, Direction::Gain] {
        for target in [
            AlertTarget::Tank,
            AlertTarget::Fixture("west".to_owned()),
            AlertTarget::Station("reef-top".to_owned()),
            AlertTarget::Stations(vec!["a".to_owned(), "b".to_owned()]),
        ] {
            for cause in [Cause::FixtureAgeing, Cause::LensDirty, Cause::Unexplained] {
                let text = next_step(&target, cause, direction, -15.0, Some(0.7))
                    .join(" ")
                    .to_lowercase();
                for word in [
                    "raise",
                    "turn up",
                    "increase",
                    "brighter",
                    "higher level",
                    "more output",
                ] {
                    assert!(!text.contains(word), "{text}");
                }
                if direction == Direction::Loss
                    && matches!(target, AlertTarget::Tank | AlertTarget::Fixture(_))
                {
                    assert!(
                        text.contains("before cleaning, turn") && text.contains("jump by 18 %"),
                        "{text}"
                    );
                }
            }
        }
    }
}

#[test]
fn ids_are_plain_and_stay_apart() {
    let mut surveys = levels(&[200.0, 150.0, 150.0]);
    surveys[2].id = "2026-03-05-night_blue".to_owned();
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    assert_eq!(judged.alerts[0].id, "2026-03-05-night-blue-whole-tank-loss");
}

/// A tank whose geometry is declared: the fixtures' names and shares come from there.
fn declared(fixtures: &[(&str, f64)]) -> Tank {
    let mut tank = tank();
    tank.inside.push(Inside {
        length_cm: 120.0,
        front_to_back_cm: 60.0,
        height_cm: 55.0,
        water_cm: Some(50.0),
        ..Inside::default()
    });
    for (id, left) in fixtures {
        tank.fixtures.push(Fixture {
            id: (*id).to_owned(),
            centre: Position::new(*left, 75.0, 30.0),
            size_cm: [20.0, 20.0],
            installed: None,
            lenses: Vec::new(),
            span: DateSpan::ALWAYS,
        });
    }
    tank
}

/// Twelve places along the tank; `factor` of each one's light by its distance from the left.
fn along(day: jiff::civil::Date, factor: impl Fn(f64) -> f64) -> Survey {
    let stations = (0..12)
        .map(|i| {
            let left = 5.0 + 10.0 * f64::from(i);
            let ppfd = 200.0 * factor(left);
            station(
                &format!("p{i:02}"),
                Some(Position::new(left, 20.0, 30.0)),
                ppfd,
                ppfd * 0.01,
                &[],
            )
        })
        .collect();
    survey(day, "noon", stations)
}

#[test]
fn declared_fixtures_are_told_apart_by_their_geometry() {
    let tank = declared(&[("west", 30.0), ("east", 90.0)]);
    // West gives nearly all the light left of the middle; it loses 20 %.
    let surveys = [
        along(month(0), |_| 1.0),
        along(month(1), |left| if left < 60.0 { 0.82 } else { 0.98 }),
    ];
    let history = History {
        tank: &tank,
        surveys: &surveys.each_ref(),
        upkeep: &[],
    };
    let judged = crate::judge(&history);
    let judgement = &judged.judgements[1];
    assert!(judgement.fixtures_differ);
    let names: Vec<&str> = judgement
        .fixtures
        .iter()
        .map(|change| change.fixture.as_str())
        .collect();
    assert_eq!(names, ["west", "east"]);
    assert_eq!(
        judgement.fixtures[0].stations + judgement.fixtures[1].stations,
        12
    );
    assert_eq!(judged.alerts.len(), 1);
    assert_eq!(judged.alerts[0].target, AlertTarget::Fixture("west".to_owned()));
    assert_eq!(judged.alerts[0].id, "2026-02-05-noon-west-loss");
    assert_eq!(judgement.fixture_trends[0].1.len(), 2);
}

#[test]
fn a_lone_fixture_is_the_whole_tank() {
    let tank = declared(&[("only", 60.0)]);
    let surveys = [
        along(month(0), |_| 1.0),
        along(month(1), |_| 0.85),
        along(month(2), |_| 0.85),
    ];
    let history = History {
        tank: &tank,
        surveys: &surveys.each_ref(),
        upkeep: &[],
    };
    let judged = crate::judge(&history);
    assert_eq!(judged.alerts.len(), 1);
    assert_eq!(judged.alerts[0].target, AlertTarget::Tank);
    // At one height only, water and everything alike can't be told apart: no cause gets much.
    assert!(judged.alerts[0].cause_probability.unwrap() <= 0.6);
    assert!(judged.alerts[0].alike.len() >= 2, "{:?}", judged.alerts[0]);
    assert!(!judged.judgements[1].fixtures_differ);
}

fn wandering(seed: u64) -> (Simulated, Vec<Survey>) {
    let mut simulated = Simulated::new(seed, Noise::shared(1.0));
    let surveys = (0..9)
        .map(|t| {
            let given = [1.0, if (3..6).contains(&t) { 0.8 } else { 1.0 }];
            simulated.survey(month(t), &given, |i| if t > 4 && i == 4 { 0.5 } else { 1.0 })
        })
        .collect();
    (simulated, surveys)
}

/// The same up to rounding, whatever the order of stations.
fn same(a: &Judgement, b: &Judgement) -> bool {
    let close = |x: f64, y: f64| (x - y).abs() < 1e-4;
    let alerts = |judgement: &Judgement| -> Vec<_> {
        judgement
            .alert_changes
            .iter()
            .map(|change| (change.step, change.alert.id.clone(), change.alert.cause))
            .collect()
    };
    a.verdict == b.verdict
        && alerts(a) == alerts(b)
        && a.even
            .zip(b.even)
            .is_none_or(|(a, b)| close(a.percent, b.percent) && close(a.u_percent, b.u_percent))
        && a.stations.iter().all(|station| {
            b.stations.iter().any(|other| {
                other.station == station.station && close(other.change.percent, station.change.percent)
            })
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_later_survey_never_changes_an_earlier_judgement(seed in 0_u64..1000, upto in 0_usize..9) {
        let (simulated, surveys) = wandering(seed);
        let entries = [upkeep(month(7), UpkeepKind::FixtureMoved), upkeep(month(2), UpkeepKind::LensCleaned)];
        let whole = judged(&simulated.tank, &surveys, &entries, &simulated);
        let part = judged(&simulated.tank, &surveys[..upto], &entries, &simulated);
        prop_assert_eq!(&whole.judgements[..upto], &part.judgements[..]);
    }

    #[test]
    fn the_order_of_stations_changes_nothing(seed in 0_u64..1000, turn in 1_usize..30) {
        let (simulated, surveys) = wandering(seed);
        let mut turned = surveys.clone();
        for (t, survey) in turned.iter_mut().enumerate() {
            survey.stations.rotate_left((turn + t) % 30);
        }
        let (a, b) = (
            judged(&simulated.tank, &surveys, &[], &simulated),
            judged(&simulated.tank, &turned, &[], &simulated),
        );
        for (a, b) in a.judgements.iter().zip(&b.judgements) {
            prop_assert!(same(a, b), "{:#?}\n{:#?}", a, b);
        }
    }
}
