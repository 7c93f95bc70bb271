//! The sentences, for each thing that can be known of a survey.

use super::*;
use crate::{Report, samples};

fn plain(text: &str) -> String {
    text.replace(NO_BREAK, " ")
}

fn head(scenario: &samples::Scenario) -> (String, String) {
    let headline = headline(&report(scenario));
    (plain(&headline.sentence), plain(&headline.detail.join(" ")))
}

fn report(scenario: &samples::Scenario) -> Report<'_> {
    Report {
        site_name: "North room",
        tank: &scenario.tank,
        survey: &scenario.survey,
        judgement: &scenario.judgement,
        earlier: None,
        side_by_side: &[],
        in_site: true,
        software_version: "0.1.0",
    }
}

#[test]
fn the_sentence_says_what_where_how_much_and_since_when() {
    assert_eq!(
        head(&samples::loss()),
        (
            "Less light under the west fixture: 16 % gone since 11 October.".to_owned(),
            "Between 12 and 20 % less. No change proven under the east fixture. \
             Most likely a film on the west lens or cover (74 in 100)."
                .to_owned()
        )
    );
    assert_eq!(
        head(&samples::gain()),
        (
            "More light in the whole tank: 12 % more than on 11 October.".to_owned(),
            "Between 8 and 16 % more. Perhaps another light programme or level; \
             the device itself would look the same."
                .to_owned()
        )
    );
}

#[test]
fn nothing_proven_is_never_all_well() {
    let (sentence, detail) = head(&samples::quiet());
    assert_eq!(sentence, "No change proven; a loss of 5 % would show.");
    assert_eq!(
        detail,
        "The whole tank reads −0.8 % (−3.5 to +1.9 %) against 11 October. \
         Smaller losses, and losses at single places, can still hide."
    );
}

#[test]
fn first_survey_baseline_and_too_poor() {
    assert_eq!(
        head(&samples::first_undeclared()).0,
        "Nothing to hold this survey against yet."
    );
    assert_eq!(head(&samples::one_station()).0, "This survey is the baseline.");
    let (sentence, detail) = head(&samples::all_bad());
    assert_eq!(sentence, "This survey is too poor to judge.");
    assert_eq!(detail, "None of 11 places could be used; at least 3 are needed.");
}

#[test]
fn the_sentence_of_the_judgement_is_that_of_the_page() {
    for scenario in [samples::loss(), samples::quiet(), samples::all_bad()] {
        let page = headline(&report(&scenario)).sentence;
        assert_eq!(sentence(&scenario.survey, &scenario.judgement), page);
    }
}

#[test]
fn what_comes_back_after_cleaning() {
    // 1 / 0.84 = 1.190476…
    assert!((returns_percent(16.0).expect("some") - 19.047_619_047).abs() < 1e-6);
    assert_eq!(returns_percent(0.0), None);
    assert_eq!(returns_percent(100.0), None);
}

#[test]
fn before_cleaning_comes_turning_down_and_nothing_ever_raises_output() {
    for scenario in samples::all() {
        let steps = do_next(&report(&scenario));
        let all = steps.join(" ").to_lowercase();
        if let Some(clean) = steps.iter().position(|step| step.contains("clean it")) {
            let down = steps
                .iter()
                .position(|step| step.contains("turn") && step.contains("down"));
            assert!(down.is_some_and(|down| down < clean), "{all}");
        }
        for sentence in all.split('.').filter(|sentence| sentence.contains("raise")) {
            assert!(sentence.contains("don't raise"), "{sentence}");
        }
        assert!(!all.contains("lamp"));
    }
}

#[test]
fn intervals_that_hold_nothing_say_so() {
    assert_eq!(
        plain(&figures::between(-1.0, [-4.0, 2.0])),
        "between 4 % less and 2 % more"
    );
    assert_eq!(plain(&interval(-16.0, [-20.1, -12.4])), "−20 to −12 %");
    assert_eq!(plain(&figures::visible(4.01)), "5 %");
    assert_eq!(plain(&figures::visible(5.0)), "5 %");
    assert_eq!(plain(&figures::visible_with_article(7.2)), "an 8 %");
    assert_eq!(plain(&figures::visible_with_article(4.0)), "a 4 %");
}

#[test]
fn every_cause_reason_and_flag_has_its_words() {
    let mut seen = Vec::new();
    for reason in undim_model::Reason::ALL {
        seen.push(reason_phrase(*reason));
    }
    for flag in undim_model::Flag::ALL {
        seen.push(flag_phrase(flag));
    }
    let count = seen.len();
    seen.sort_unstable();
    seen.dedup();
    assert_eq!(seen.len(), count);
}
