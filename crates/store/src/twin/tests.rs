//! What is stored comes back the same.

use super::*;
use jiff::Timestamp;
use jiff::civil::{Date, date};
use proptest::option;
use proptest::prelude::*;
use undim_model::{
    About, Alert, AlertChange, AlertStep, AlertTarget, Alternative, Cause, DeviceUse, Fact, Flag, FlagCounts,
    ImportProblem, Level, Measured, Position, ReadAgain, Reason, SharedKind, SharedPart, SourceFile, State,
    StationValue, Survey, WithdrawnFile,
};

fn plain_survey() -> Survey {
    Survey {
        tank: "reef".to_owned(),
        id: "2026-04-03-noon".to_owned(),
        revision: 1,
        scene: None,
        replaces: Vec::new(),
        start: Timestamp::UNIX_EPOCH,
        end: Timestamp::UNIX_EPOCH,
        date: date(2026, 4, 3),
        timezone: "Europe/Lisbon".to_owned(),
        sources: Vec::new(),
        withdrawn: Vec::new(),
        devices: Vec::new(),
        stations: Vec::new(),
        counts: FlagCounts::default(),
        pumps_on: None,
        water_cm: None,
        read_again: Vec::new(),
        said: Vec::new(),
        tied_to_reference: false,
    }
}

#[test]
fn a_stored_form_that_lacks_or_adds_a_field_is_not_understood() {
    let text = encode_survey(&plain_survey()).expect("written");
    let without = text.replace("\"pumps_on\":null,", "");
    assert_ne!(text, without);
    assert!(
        decode_survey(&without)
            .expect_err("refused")
            .to_string()
            .contains("pumps_on")
    );
    assert!(decode_survey(&text.replacen('{', "{\"more\":1,", 1)).is_err());
    assert!(decode_survey("").is_err());
}

// Round trips. Every number is drawn from all 64-bit floats, of which only NaN differs from itself.

fn number() -> impl Strategy<Value = f64> {
    any::<f64>().prop_filter("NaN is not equal to itself", |number| !number.is_nan())
}

fn time() -> impl Strategy<Value = Timestamp> {
    (-60_000_000_000_i64..200_000_000_000, 0..1_000_000_000_i32)
        .prop_map(|(second, nanosecond)| Timestamp::new(second, nanosecond).expect("a time"))
}

fn day() -> impl Strategy<Value = Date> {
    (1900_i16..2200, 1_i8..=12, 1_i8..=28).prop_map(|(year, month, day)| date(year, month, day))
}

fn text() -> impl Strategy<Value = String> {
    any::<String>()
}

fn list<T: std::fmt::Debug>(of: impl Strategy<Value = T>) -> impl Strategy<Value = Vec<T>> {
    prop::collection::vec(of, 0..3)
}

fn station() -> impl Strategy<Value = StationValue> {
    let value = (number(), number(), number()).prop_map(|(ppfd, u_own, u_shared)| Measured {
        ppfd,
        u_own,
        u_shared,
    });
    let kinds = [SharedKind::Calibration, SharedKind::Rezero, SharedKind::RodHeight];
    let shared = (prop::sample::select(kinds.to_vec()), number())
        .prop_map(|(kind, u_ppfd)| SharedPart { kind, u_ppfd });
    let position = [number(), number(), number()].prop_map(Position::from);
    (
        (
            text(),
            any::<bool>(),
            option::of(position),
            any::<u64>(),
            any::<u64>(),
            option::of(value),
        ),
        (
            text(),
            text(),
            list(shared),
            option::of([number(), number(), number()]),
            option::of(number()),
        ),
        prop::sample::select(Flag::ALL.to_vec()),
        prop::sample::subsequence(Reason::ALL.to_vec(), 0..5),
    )
        .prop_map(|(what, made, flag, reasons)| StationValue {
            station: what.0.into(),
            declared: what.1,
            position: what.2,
            readings: what.3,
            used: what.4,
            value: what.5,
            device: made.0.into(),
            correction: made.1.into(),
            shared: made.2,
            u_place_ppfd: made.4,
            u_tilt_ppfd: made.4,
            gradient_per_cm: made.3,
            scatter_percent: made.4,
            flag,
            reasons: reasons.into_iter().collect(),
        })
}

fn source() -> impl Strategy<Value = SourceFile> {
    let fact = (text(), text(), any::<bool>()).prop_map(|(key, value, assumed)| Fact { key, value, assumed });
    let problem = (any::<u64>(), any::<u32>(), text()).prop_map(|(line, column, text)| ImportProblem {
        line,
        column,
        text,
    });
    (
        (text(), text(), text(), text(), any::<u64>()),
        (
            list(fact),
            list(problem),
            option::of(text()),
            option::of(text()),
            list((text(), text())),
            list(text()),
        ),
    )
        .prop_map(|(what, said)| SourceFile {
            path: what.0.into(),
            blake3: what.1,
            importer: what.2,
            importer_version: what.3,
            rows: what.4,
            facts: said.0,
            problems: said.1,
            remark: said.2,
            taken_by: said.3,
            renamed: said.4,
            notes: said.5,
        })
}

fn any_survey() -> impl Strategy<Value = Survey> {
    let device = (
        text(),
        text(),
        any::<[bool; 2]>(),
        any::<u64>(),
        list(text()),
        number(),
    )
        .prop_map(
            |(id, name, [is_reference, declared], readings, corrections, rezero_percent)| DeviceUse {
                id,
                name,
                is_reference,
                declared,
                readings,
                corrections,
                rezero_percent,
            },
        );
    let withdrawn = (text(), text(), text(), time()).prop_map(|(path, blake3, why, when)| WithdrawnFile {
        path: path.into(),
        blake3,
        why,
        when,
    });
    let again = (text(), text()).prop_map(|(station, why)| ReadAgain {
        station: station.into(),
        why,
    });
    (
        (text(), text(), any::<u32>(), option::of(text()), list(text())),
        (time(), time(), day(), text()),
        (
            list(source()),
            list(device),
            list(station()),
            any::<[u64; 5]>(),
            list(withdrawn),
        ),
        (
            option::of(any::<bool>()),
            option::of(number()),
            list(again),
            list(text()),
            any::<bool>(),
        ),
    )
        .prop_map(|(what, when, made, said)| Survey {
            tank: what.0,
            id: what.1,
            revision: what.2,
            scene: what.3,
            replaces: what.4,
            start: when.0,
            end: when.1,
            date: when.2,
            timezone: when.3,
            sources: made.0,
            withdrawn: made.4,
            devices: made.1,
            stations: made.2,
            counts: FlagCounts {
                good: made.3[0],
                not_evaluated: made.3[1],
                questionable: made.3[2],
                bad: made.3[3],
                missing: made.3[4],
            },
            pumps_on: said.0,
            water_cm: said.1,
            read_again: said.2,
            said: said.3,
            tied_to_reference: said.4,
        })
}

fn any_change() -> impl Strategy<Value = AlertChange> {
    let cause = || prop::sample::select(vec![Cause::LensDirty, Cause::FixtureAgeing, Cause::Unexplained]);
    let target = prop_oneof![
        Just(AlertTarget::Tank),
        text().prop_map(AlertTarget::Fixture),
        text().prop_map(AlertTarget::Station),
        list(text()).prop_map(AlertTarget::Stations),
        text().prop_map(AlertTarget::Path),
    ];
    let alternative = (cause(), number()).prop_map(|(cause, probability)| Alternative { cause, probability });
    let steps = [
        AlertStep::Opened,
        AlertStep::Raised,
        AlertStep::Changed,
        AlertStep::Closed,
    ];
    (
        (
            prop::sample::select(steps.to_vec()),
            text(),
            text(),
            option::of(cause()),
            target,
        ),
        (
            option::of(number()),
            option::of(number()),
            option::of([number(), number()]),
            option::of(number()),
        ),
        (
            option::of(text()),
            option::of(text()),
            time(),
            time(),
            option::of(time()),
        ),
        (list(text()), list(text()), list(alternative), list(cause())),
        (
            prop::sample::select(vec![About::Light, About::Overdue, About::Silent, About::Intake]),
            prop::sample::select(vec![State::Open, State::Closed]),
            prop::sample::select(vec![Level::Notice, Level::Urgent]),
        ),
    )
        .prop_map(|(what, numbers, when, why, (about, state, level))| AlertChange {
            step: what.0,
            alert: Alert {
                id: what.1,
                tank: what.2,
                about,
                state,
                level,
                cause: what.3,
                cause_probability: numbers.0,
                target: what.4,
                change_percent: numbers.1,
                ci95: numbers.2,
                survey: when.0,
                baseline: when.1,
                opened: when.2,
                updated: when.3,
                closed: when.4,
                evidence: why.0,
                next_step: why.1,
                alternatives: why.2,
                alike: why.3,
                p_real: numbers.3,
            },
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_survey_comes_back_to_the_last_bit(survey in any_survey()) {
        let text = encode_survey(&survey).expect("written");
        let back = decode_survey(&text).expect("read");
        prop_assert_eq!(&back, &survey);
        // Equality takes 0 and -0 for one; the text does not.
        prop_assert_eq!(encode_survey(&back).expect("written"), text);
    }

    #[test]
    fn a_change_comes_back_to_the_last_bit(change in any_change()) {
        let text = encode_change(&change).expect("written");
        let back = decode_change(&text).expect("read");
        prop_assert_eq!(&back, &change);
        prop_assert_eq!(encode_change(&back).expect("written"), text);
    }
}
