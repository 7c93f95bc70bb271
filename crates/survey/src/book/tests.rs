//! Tests of the book of surveys (formats, section 10, surveys).

use super::*;
use crate::LONGEST_GAP;
use proptest::prelude::*;

fn hours(start: f64, end: f64) -> Span {
    let at = |hour: f64| Timestamp::from_second(1_767_225_600 + (hour * 3600.0) as i64).unwrap();
    Span {
        start: at(start),
        end: at(end),
        rows: 2,
    }
}

fn came(content: usize, scene: Option<&str>, spans: &[Span]) -> Arrival {
    Arrival::Came {
        content,
        placement: placement(scene, spans),
        replaces: None,
    }
}

fn placement(scene: Option<&str>, spans: &[Span]) -> Placement {
    Placement {
        tank: "harbour".into(),
        scene: scene.map(str::to_owned),
        spans: spans.to_vec(),
    }
}

fn ids(arrivals: &[Arrival]) -> Vec<(String, Vec<usize>, u32, Vec<String>)> {
    let mut book = Book::new(TimeZone::UTC);
    for arrival in arrivals {
        book.enter(arrival);
    }
    book.entries()
        .into_iter()
        .map(|e| (e.id, e.contents, e.revision, e.replaces))
        .collect()
}

fn row(
    id: &str,
    contents: &[usize],
    revision: u32,
    replaces: &[&str],
) -> (String, Vec<usize>, u32, Vec<String>) {
    (
        id.into(),
        contents.to_vec(),
        revision,
        replaces.iter().map(|s| (*s).to_owned()).collect(),
    )
}

#[test]
fn a_late_file_of_the_same_outing_joins_its_survey() {
    let arrivals = [
        came(0, Some("noon"), &[hours(12.0, 13.0)]),
        came(1, Some("noon"), &[hours(14.0, 15.0)]),
    ];
    assert_eq!(ids(&arrivals), [row("2026-01-01-noon", &[0, 1], 2, &[])]);
}

#[test]
fn an_earlier_survey_that_arrives_later_takes_the_next_suffix() {
    let arrivals = [
        came(0, None, &[hours(20.0, 21.0)]),
        came(1, None, &[hours(8.0, 9.0)]),
    ];
    assert_eq!(
        ids(&arrivals),
        [row("2026-01-01-2", &[1], 1, &[]), row("2026-01-01", &[0], 1, &[])]
    );
}

#[test]
fn midnight_does_not_split_and_scenes_do() {
    let night = [
        came(0, Some("noon"), &[hours(22.0, 26.0)]),
        came(1, None, &[hours(22.0, 26.0)]),
    ];
    assert_eq!(
        ids(&night),
        [
            row("2026-01-01", &[1], 1, &[]),
            row("2026-01-01-noon", &[0], 1, &[])
        ]
    );
}

#[test]
fn a_bridge_joins_two_surveys_and_the_freed_id_never_comes_back() {
    let arrivals = [
        came(0, None, &[hours(16.0, 17.0)]),
        came(1, None, &[hours(2.0, 3.0)]),
        came(2, None, &[hours(8.5, 10.5)]),
        came(3, None, &[hours(23.5, 23.8)]),
    ];
    // The later survey came first and has the plain id; the earlier one keeps its own, "-2".
    assert_eq!(
        ids(&arrivals),
        [
            row("2026-01-01-2", &[0, 1, 2], 2, &["2026-01-01"]),
            row("2026-01-01-3", &[3], 1, &[])
        ]
    );
}

#[test]
fn a_file_that_grew_replaces_its_readings_and_keeps_the_id() {
    let mut arrivals = vec![came(0, None, &[hours(1.0, 2.0)])];
    arrivals.push(Arrival::Came {
        content: 1,
        placement: placement(None, &[hours(1.0, 3.0)]),
        replaces: Some(0),
    });
    assert_eq!(ids(&arrivals), [row("2026-01-01", &[1], 2, &[])]);
}

#[test]
fn a_note_moves_a_file_to_another_scene() {
    let arrivals = [
        came(0, None, &[hours(1.0, 2.0)]),
        Arrival::Renoted {
            content: 0,
            placement: placement(Some("noon"), &[hours(1.0, 2.0)]),
        },
        came(1, None, &[hours(1.0, 2.0)]),
    ];
    assert_eq!(
        ids(&arrivals),
        [
            row("2026-01-01-2", &[1], 1, &[]),
            row("2026-01-01-noon", &[0], 1, &[])
        ]
    );
}

#[test]
fn a_note_that_moves_nothing_makes_a_new_revision_under_the_same_id() {
    let noted = |content, scene, span| Arrival::Renoted {
        content,
        placement: placement(scene, &[span]),
    };
    let arrivals = [
        came(0, None, &[hours(1.0, 2.0)]),
        noted(0, None, hours(1.0, 2.0)),
        noted(0, None, hours(3.0, 4.0)),
    ];
    assert_eq!(ids(&arrivals), [row("2026-01-01", &[0], 3, &[])]);
    // A clock that was wrong by days makes it another survey.
    let other_day = [
        came(0, None, &[hours(1.0, 2.0)]),
        noted(0, None, hours(49.0, 50.0)),
    ];
    assert_eq!(ids(&other_day), [row("2026-01-03", &[0], 1, &[])]);
    // Where it now reaches another survey it joins that one.
    let joined = [
        came(0, None, &[hours(1.0, 2.0)]),
        came(1, None, &[hours(9.0, 10.0)]),
        noted(0, None, hours(6.0, 7.0)),
    ];
    assert_eq!(ids(&joined), [row("2026-01-01-2", &[0, 1], 2, &[])]);
}

#[test]
fn withdrawing_the_bridge_splits_the_survey_again() {
    let arrivals = [
        came(0, None, &[hours(2.0, 3.0)]),
        came(1, None, &[hours(8.5, 10.5)]),
        came(2, None, &[hours(16.0, 17.0)]),
        withdrawn(1),
    ];
    assert_eq!(
        ids(&arrivals),
        [row("2026-01-01", &[0], 4, &[]), row("2026-01-01-2", &[2], 1, &[])]
    );
}

fn withdrawn(content: usize) -> Arrival {
    Arrival::Withdrawn {
        content,
        brings_back: None,
    }
}

fn reinstated(content: usize, span: Span) -> Arrival {
    Arrival::Reinstated {
        content,
        placement: placement(None, &[span]),
        replaces: None,
    }
}

#[test]
fn a_withdrawn_survey_comes_back_under_its_own_id_and_nobody_else_gets_it() {
    let mut arrivals = vec![came(0, None, &[hours(1.0, 2.0)]), withdrawn(0)];
    assert_eq!(ids(&arrivals), []);
    let back = [arrivals.clone(), vec![reinstated(0, hours(1.0, 2.0))]].concat();
    assert_eq!(ids(&back), [row("2026-01-01", &[0], 3, &[])]);
    // Another one on that day has taken the next free id; what comes back joins it where it reaches it.
    arrivals.push(came(1, None, &[hours(10.0, 11.0)]));
    assert_eq!(ids(&arrivals), [row("2026-01-01-2", &[1], 1, &[])]);
    let apart = [arrivals.clone(), vec![reinstated(0, hours(1.0, 2.0))]].concat();
    assert_eq!(
        ids(&apart),
        [row("2026-01-01", &[0], 3, &[]), row("2026-01-01-2", &[1], 1, &[])]
    );
    let joined = [arrivals, vec![reinstated(0, hours(9.0, 9.5))]].concat();
    assert_eq!(ids(&joined), [row("2026-01-01-2", &[0, 1], 2, &[])]);
}

#[test]
fn a_survey_tells_what_was_withdrawn_from_it() {
    let mut book = Book::new(TimeZone::UTC);
    book.enter(&came(0, None, &[hours(1.0, 2.0)]));
    book.enter(&came(1, None, &[hours(2.0, 3.0)]));
    book.enter(&withdrawn(0));
    assert_eq!(book.entries()[0].withdrawn, [0]);
    // What is noted of a withdrawn file waits with it.
    book.enter(&Arrival::Renoted {
        content: 0,
        placement: placement(Some("noon"), &[hours(1.0, 2.0)]),
    });
    assert_eq!((book.entries().len(), book.entries()[0].revision), (1, 3));
    book.enter(&reinstated(0, hours(1.0, 2.0)));
    let entries = book.entries();
    assert_eq!((entries[0].withdrawn.len(), entries[0].revision), (0, 4));
    assert_eq!(entries[0].contents, [0, 1]);
}

#[test]
fn withdrawing_what_had_grown_brings_the_shorter_one_back() {
    let grown = Arrival::Came {
        content: 1,
        placement: placement(None, &[hours(1.0, 3.0)]),
        replaces: Some(0),
    };
    let mut arrivals = vec![came(0, None, &[hours(1.0, 2.0)]), grown];
    arrivals.push(Arrival::Withdrawn {
        content: 1,
        brings_back: Some((0, placement(None, &[hours(1.0, 2.0)]))),
    });
    assert_eq!(ids(&arrivals), [row("2026-01-01", &[0], 3, &[])]);
    arrivals.push(Arrival::Reinstated {
        content: 1,
        placement: placement(None, &[hours(1.0, 3.0)]),
        replaces: Some(0),
    });
    assert_eq!(ids(&arrivals), [row("2026-01-01", &[1], 4, &[])]);
}

#[test]
fn a_file_that_comes_in_two_sittings_is_in_two_surveys() {
    let arrivals = [came(0, None, &[hours(1.0, 2.0), hours(10.0, 11.0)])];
    assert_eq!(
        ids(&arrivals),
        [row("2026-01-01", &[0], 1, &[]), row("2026-01-01-2", &[0], 1, &[])]
    );
}

#[test]
fn the_date_is_the_sites_and_stays_when_an_earlier_file_comes() {
    let mut book = Book::new(TimeZone::fixed(jiff::tz::offset(-5)));
    book.enter(&came(0, Some("noon"), &[hours(6.0, 7.0)]));
    book.enter(&came(1, Some("noon"), &[hours(3.0, 4.0)]));
    let entries = book.entries();
    // 06:00 in Greenwich is 01:00 five hours west; 03:00 is 22:00 of the day before.
    assert_eq!(entries.len(), 1);
    assert_eq!(entries[0].id, "2026-01-01-noon");
}

#[test]
fn a_file_that_grew_bridges_and_one_that_shrank_splits() {
    let grown = |content, span| Arrival::Came {
        content,
        placement: placement(None, &[span]),
        replaces: Some(0),
    };
    let two = [
        came(0, None, &[hours(1.0, 2.0)]),
        came(1, None, &[hours(12.0, 13.0)]),
    ];
    let bridged = [two[0].clone(), two[1].clone(), grown(2, hours(1.0, 7.0))];
    assert_eq!(ids(&bridged), [row("2026-01-01", &[1, 2], 2, &["2026-01-01-2"])]);
    let whole = [
        came(0, None, &[hours(1.0, 7.0)]),
        came(1, None, &[hours(12.0, 13.0)]),
    ];
    let split = [whole[0].clone(), whole[1].clone(), grown(2, hours(1.0, 2.0))];
    assert_eq!(
        ids(&split),
        [row("2026-01-01", &[2], 3, &[]), row("2026-01-01-2", &[1], 1, &[])]
    );
}

/// Arrivals of a dozen contents in two scenes over four days.
fn any_arrivals() -> impl Strategy<Value = Vec<Arrival>> {
    let any_placement = || {
        let any_span = (0_u32..96, 0_u32..8)
            .prop_map(|(start, length)| hours(f64::from(start), f64::from(start + length)));
        let spans = prop::collection::vec(any_span, 1..3)
            .prop_map(|spans| spans.into_iter().collect::<Spans>().into_vec());
        (any::<bool>(), spans).prop_map(|(noon, spans)| placement(noon.then_some("noon"), &spans))
    };
    let step = (0_u8..6, any::<prop::sample::Index>(), any_placement());
    prop::collection::vec(step, 1..14).prop_map(|steps| {
        let mut arrivals = Vec::new();
        let mut live: Vec<usize> = Vec::new();
        let mut out: Vec<usize> = Vec::new();
        for (content, (kind, which, placement)) in steps.into_iter().enumerate() {
            let old = (!live.is_empty()).then(|| which.index(live.len()));
            let arrival = match (kind, old) {
                (2, Some(old)) => {
                    let replaced = live.remove(old);
                    live.push(content);
                    Arrival::Came {
                        content,
                        placement,
                        replaces: Some(replaced),
                    }
                }
                (3, Some(old)) => Arrival::Renoted {
                    content: live[old],
                    placement,
                },
                (4, Some(old)) => {
                    out.push(live.remove(old));
                    withdrawn(out[out.len() - 1])
                }
                (5, _) if !out.is_empty() => {
                    let back = out.remove(which.index(out.len()));
                    live.push(back);
                    Arrival::Reinstated {
                        content: back,
                        placement,
                        replaces: None,
                    }
                }
                _ => {
                    live.push(content);
                    Arrival::Came {
                        content,
                        placement,
                        replaces: None,
                    }
                }
            };
            arrivals.push(arrival);
        }
        arrivals
    })
}

/// Where each content that counts belongs after all arrivals.
fn live(arrivals: &[Arrival]) -> BTreeMap<usize, Placement> {
    let mut live = BTreeMap::new();
    for arrival in arrivals {
        match arrival {
            Arrival::Came {
                content,
                placement,
                replaces,
            } => {
                live.insert(*content, placement.clone());
                live.retain(|content, _| Some(*content) != *replaces);
            }
            Arrival::Renoted { content, placement }
            | Arrival::Reinstated {
                content, placement, ..
            } => {
                live.insert(*content, placement.clone());
            }
            Arrival::Withdrawn { content, .. } => {
                live.remove(content);
            }
        }
    }
    live
}

proptest! {
    #[test]
    fn surveys_are_what_the_contents_make_whatever_came_before(arrivals in any_arrivals()) {
        let mut book = Book::new(TimeZone::UTC);
        let mut revisions: BTreeMap<String, u32> = BTreeMap::new();
        let mut let_go: BTreeSet<String> = BTreeSet::new();
        for arrival in &arrivals {
            book.enter(arrival);
            let entries = book.entries();
            for entry in &entries {
                let is_back = matches!(arrival, Arrival::Reinstated { content, .. } if entry.contents == [*content]);
                prop_assert!(!let_go.contains(&entry.id) || is_back, "a freed id is never given to another");
                let_go.remove(&entry.id);
                let before = revisions.insert(entry.id.clone(), entry.revision);
                prop_assert!(before.is_none_or(|before| before <= entry.revision));
            }
            let is_gone = |id: &&String| !entries.iter().any(|entry| entry.id == **id);
            let_go.extend(revisions.keys().filter(is_gone).cloned());
        }
        let contents = live(&arrivals);
        for scene in [None, Some("noon".to_owned())] {
            let spans: Vec<Span> = contents
                .values()
                .filter(|placement| placement.scene == scene)
                .flat_map(|placement| placement.spans.clone())
                .collect::<Spans>()
                .into_vec();
            let entries: Vec<Entry> = book.entries().into_iter().filter(|entry| entry.scene == scene).collect();
            let held: Vec<(Timestamp, Timestamp)> = entries.iter().map(|e| (e.span.start, e.span.end)).collect();
            let expected: Vec<(Timestamp, Timestamp)> = spans.iter().map(|s| (s.start, s.end)).collect();
            prop_assert_eq!(held, expected);
            for entry in &entries {
                let inside: Vec<usize> = contents
                    .iter()
                    .filter(|(_, placement)| placement.scene == scene)
                    .filter(|(_, placement)| placement.spans.iter().any(|span| entry.span.holds(span.start)))
                    .map(|(content, _)| *content)
                    .collect();
                prop_assert_eq!(&entry.contents, &inside);
            }
            for pair in entries.windows(2) {
                prop_assert!(pair[1].span.start.duration_since(pair[0].span.end) > LONGEST_GAP);
            }
        }
        let mut ids: Vec<String> = book.entries().into_iter().map(|entry| entry.id).collect();
        ids.sort();
        prop_assert!(ids.windows(2).all(|pair| pair[0] != pair[1]));
    }
}
