//! A poor baseline gives way to the mean of the first three good surveys.

use super::judged;
use crate::simulate::{NoFixtures, month, station, survey};
use undim_model::{
    AlertStep, Baseline, Flag, Reason, SharedKind, SharedPart, Survey, Tank, Upkeep, UpkeepKind, Verdict,
};

fn tank() -> Tank {
    let mut tank = Tank::undeclared("harbour");
    tank.drift.survey_repeat_percent = 1.0;
    tank
}

/// `n` places, 1 % own, 2 % re-zeroing, 4 % calibration, month by month.
fn read(number: usize, n: usize, ppfd: f64) -> Survey {
    let shared =
        [(SharedKind::Calibration, 4.0), (SharedKind::Rezero, 2.0)].map(|(kind, percent)| SharedPart {
            kind,
            u_ppfd: ppfd * percent / 100.0,
        });
    let places = (0..n).map(|i| station(&format!("p{i}"), None, ppfd, ppfd * 0.01, &shared));
    survey(month(number), "noon", places.collect())
}

fn with_pumps_on(survey: Survey) -> Survey {
    Survey {
        pumps_on: Some(true),
        ..survey
    }
}

fn near(value: f64, expected: f64) {
    assert!((value - expected).abs() < 1e-6, "{value} is not {expected}");
}

#[test]
fn pumps_on_the_mean_takes_its_place_with_its_own_uncertainty() {
    let mut surveys = vec![with_pumps_on(read(0, 5, 150.0))];
    surveys.extend(
        [200.0, 201.0, 202.0, 181.0]
            .into_iter()
            .zip(1..)
            .map(|(ppfd, t)| read(t, 5, ppfd)),
    );
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    let [first, second, third, fourth, fifth] = &judged.judgements[..] else {
        panic!("five judgements");
    };
    assert!(first.limits[0].contains("poor baseline: it was read with the pumps on"));
    assert_eq!(second.baseline.as_deref(), Some(surveys[0].id.as_str()));
    assert!(
        second.limits.iter().any(|said| said.contains("so far: 1.")),
        "{:?}",
        second.limits
    );
    // The rise against the poor baseline was an alert; it ends with that baseline, and says why.
    assert_eq!(third.alert_changes[0].step, AlertStep::Opened);
    assert_eq!(fourth.verdict, Verdict::Baseline);
    assert!(fourth.limits[0].contains(
        "the mean of the 3 good surveys since, those of 5 February 2026, 5 March 2026 and 5 April 2026"
    ));
    let closed = &fourth.alert_changes[0];
    assert_eq!(closed.step, AlertStep::Closed);
    assert!(closed.alert.evidence[0].contains("is replaced: it was read with the pumps on"));
    assert_eq!(fifth.baseline.as_deref(), Some(surveys[1].id.as_str()));
    assert_eq!(fifth.baseline_mean_of, [1, 2, 3].map(|t| surveys[t].id.clone()));
    let change = fifth.stations[0].change;
    near(change.percent, 100.0 * (181.0 / 201.0 - 1.0));
    // Own 1 %, re-zeroing 2 % and repeat 1 % of one survey and a third of the variance for the mean of three
    // (√Σu²/n of nearly equal values); calibration cancels.
    let of_mean = (200.0_f64.powi(2) + 201.0_f64.powi(2) + 202.0_f64.powi(2)).sqrt() / 3.0 / 201.0;
    let u = (1.0 + 4.0 + 1.0 + of_mean * of_mean * (1.0 + 4.0) + 1.0 / 3.0).sqrt();
    near(change.u_percent, 181.0 / 201.0 * u);
    assert!(
        fifth
            .limits
            .iter()
            .any(|said| said.contains("The baseline is the mean of the surveys of"))
    );
    assert_eq!(fifth.even_trend.len(), 2, "a trend begins with the new baseline");
    near(
        fifth.even_trend[0].change.u_percent,
        ((of_mean * of_mean * (1.0 / 5.0 + 4.0)) + 1.0 / 3.0).sqrt(),
    );
}

#[test]
fn few_places_give_way_unless_an_alert_rests_on_them() {
    for (later, replaced) in [(200.0, true), (140.0, false)] {
        let mut surveys = vec![read(0, 5, 200.0)];
        surveys.extend((1..6).map(|t| read(t, 8, later)));
        let judged = judged(&tank(), &surveys, &[], &NoFixtures);
        let fifth = &judged.judgements[4];
        assert_eq!(judged.judgements[3].verdict == Verdict::Baseline, replaced);
        assert_eq!(!fifth.baseline_mean_of.is_empty(), replaced);
        assert_eq!(fifth.stations.len(), if replaced { 8 } else { 5 });
        assert_eq!(judged.open_alerts().count(), usize::from(!replaced));
        let stays = judged.judgements[3]
            .limits
            .iter()
            .any(|said| said.contains("It stays all the same"));
        assert_eq!(stays, !replaced);
    }
}

#[test]
fn enough_places_hold_for_ever_and_poor_surveys_make_no_mean() {
    // Six of eight are enough.
    let mut surveys = vec![read(0, 6, 200.0)];
    surveys.extend((1..5).map(|t| read(t, 8, 200.0)));
    surveys.extend((5..9).map(|t| read(t, 20, 200.0)));
    let judged_all = judged(&tank(), &surveys, &[], &NoFixtures);
    assert!(
        judged_all
            .judgements
            .iter()
            .all(|one| one.baseline_mean_of.is_empty())
    );
    // Questionable places, pumps on, too few: none of them counts.
    let mut questionable = read(2, 8, 200.0);
    for station in &mut questionable.stations {
        station.flag = Flag::Questionable;
        station.reasons.add(Reason::Unsteady);
    }
    let surveys = [
        with_pumps_on(read(0, 8, 200.0)),
        read(1, 8, 200.0),
        questionable,
        with_pumps_on(read(3, 8, 200.0)),
        read(4, 3, 200.0),
        read(5, 8, 200.0),
        read(6, 8, 200.0),
        read(7, 8, 200.0),
    ];
    let judged = judged(&tank(), &surveys, &[], &NoFixtures);
    assert_eq!(
        judged.judgements[7].baseline_mean_of,
        [1, 5, 6].map(|t| surveys[t].id.clone())
    );
}

#[test]
fn a_named_baseline_stays_and_a_reset_begins_anew() {
    let mut surveys = vec![with_pumps_on(read(0, 5, 200.0))];
    surveys.extend((1..6).map(|t| read(t, 5, 200.0)));
    let mut named = tank();
    named.drift.baseline = Baseline::Survey(surveys[0].id.clone());
    let of_named = judged(&named, &surveys, &[], &NoFixtures);
    let last = of_named.judgements.last().expect("a judgement");
    assert_eq!(last.baseline.as_deref(), Some(surveys[0].id.as_str()));
    assert!(
        last.limits.iter().any(|said| said.contains("makes a better one")),
        "{:?}",
        last.limits
    );
    let reset = Upkeep {
        date: month(3),
        what: UpkeepKind::FixtureChanged,
        target: None,
        remark: None,
    };
    let judged = judged(&tank(), &surveys, &[reset], &NoFixtures);
    assert_eq!(judged.judgements[3].verdict, Verdict::Baseline);
    let last = judged.judgements.last().expect("a judgement");
    assert_eq!(last.baseline.as_deref(), Some(surveys[3].id.as_str()));
    assert!(
        last.baseline_mean_of.is_empty() && last.limits.is_empty(),
        "{:?}",
        last.limits
    );
}
