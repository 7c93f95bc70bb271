//! Which readings make one survey, and what it is called.
//!
//! A fold over what arrived, in order of arrival: the same arrivals always give the same surveys, ids
//! and revisions, so that everything can be derived again from the raw archive. The rules are those of
//! the formats, section 10, surveys.

use crate::span::{Span, Spans};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};

/// Where the readings of one file belong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placement {
    /// The tank's id.
    pub tank: String,
    /// The scene's id, where one is known.
    pub scene: Option<String>,
    /// Its readings' stretches of time, in order.
    pub spans: Vec<Span>,
}

/// Something that happened to the archive, in order of arrival. A content is named by its number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Arrival {
    /// A file came, perhaps in place of an earlier one that it begins with.
    Came {
        /// Its number.
        content: usize,
        /// Where it belongs.
        placement: Placement,
        /// The content it replaces.
        replaces: Option<usize>,
    },
    /// A note came for a file that was there: it belongs here now.
    Renoted {
        /// Its number.
        content: usize,
        /// Where it belongs now.
        placement: Placement,
    },
    /// A file was taken out of every judgement.
    Withdrawn {
        /// Its number.
        content: usize,
        /// The content that it had replaced, which counts again, and where that belongs.
        brings_back: Option<(usize, Placement)>,
    },
    /// A withdrawn file counts again.
    Reinstated {
        /// Its number.
        content: usize,
        /// Where it belongs.
        placement: Placement,
        /// The content that it replaces again.
        replaces: Option<usize>,
    },
}

/// A survey: which contents it is made of, and over which time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The tank's id.
    pub tank: String,
    /// Its id, unique in the tank for ever.
    pub id: String,
    /// The scene's id.
    pub scene: Option<String>,
    /// From its first to its last reading.
    pub span: Span,
    /// The contents it is made of, in order of arrival.
    pub contents: Vec<usize>,
    /// Contents that were part of it until they were withdrawn, in order of arrival.
    pub withdrawn: Vec<usize>,
    /// From 1; one more for each arrival that touched it.
    pub revision: u32,
    /// Ids of surveys that it took over.
    pub replaces: Vec<String>,
}

/// The surveys of a site.
#[derive(Debug, Clone)]
pub struct Book {
    zone: TimeZone,
    surveys: Vec<Survey>,
    /// Every id ever given: a freed id is never given again.
    given: BTreeSet<(String, String)>,
    /// Contents that do not count: withdrawn, or replaced by others.
    out: BTreeSet<usize>,
    /// Surveys that withdrawals left nothing of; their ids wait for them.
    emptied: Vec<Survey>,
}

#[derive(Debug, Clone)]
struct Survey {
    tank: String,
    scene: Option<String>,
    id: String,
    parts: BTreeMap<usize, Vec<Span>>,
    withdrawn: BTreeSet<usize>,
    revision: u32,
    replaces: Vec<String>,
}

impl Survey {
    fn spans(&self) -> Vec<Span> {
        self.parts
            .values()
            .flatten()
            .copied()
            .collect::<Spans>()
            .into_vec()
    }

    /// From first to last reading; `None` when nothing is left of it.
    fn span(&self) -> Option<Span> {
        self.parts.values().flatten().copied().reduce(Span::joined)
    }
}

impl Book {
    /// An empty book; ids take their dates from this zone.
    pub fn new(zone: TimeZone) -> Self {
        Self {
            zone,
            surveys: Vec::new(),
            given: BTreeSet::new(),
            out: BTreeSet::new(),
            emptied: Vec::new(),
        }
    }

    /// Takes in what came next.
    pub fn enter(&mut self, arrival: &Arrival) {
        match arrival {
            Arrival::Came {
                content,
                placement,
                replaces,
            } => {
                // Added before the old one goes, so that the survey keeps its id.
                let touched = self.add(*content, placement, &BTreeSet::new(), &mut Vec::new());
                if let Some(old) = replaces {
                    self.remove(*old, &touched);
                    self.out.insert(*old);
                }
            }
            // It waits with its content until that counts again.
            Arrival::Renoted { content, .. } if self.out.contains(content) => {}
            Arrival::Renoted { content, placement } => {
                // A survey of this file alone that only changes in itself keeps its id.
                let mut alone: Vec<Survey> = self
                    .surveys
                    .iter()
                    .filter(|survey| survey.parts.keys().eq([content]))
                    .cloned()
                    .collect();
                let touched = self.remove(*content, &BTreeSet::new());
                self.add(*content, placement, &touched, &mut alone);
            }
            Arrival::Withdrawn { content, brings_back } => self.withdraw(*content, brings_back.as_ref()),
            Arrival::Reinstated {
                content,
                placement,
                replaces,
            } => self.reinstate(*content, placement, *replaces),
        }
    }

    fn withdraw(&mut self, content: usize, brings_back: Option<&(usize, Placement)>) {
        let mut touched = BTreeSet::new();
        // Added before this one goes, so that the survey keeps its id.
        if let Some((old, placement)) = brings_back {
            self.out.remove(old);
            touched = self.add(*old, placement, &BTreeSet::new(), &mut Vec::new());
        }
        for survey in &mut self.surveys {
            if survey.parts.contains_key(&content) {
                survey.withdrawn.insert(content);
            }
        }
        let alone = self
            .surveys
            .iter()
            .filter(|survey| survey.parts.keys().eq([&content]));
        let emptied: Vec<Survey> = alone
            .map(|survey| Survey {
                revision: survey.revision + 1,
                ..survey.clone()
            })
            .collect();
        self.emptied.extend(emptied);
        self.remove(content, &touched);
        self.out.insert(content);
    }

    fn reinstate(&mut self, content: usize, placement: &Placement, replaces: Option<usize>) {
        self.out.remove(&content);
        let all = std::mem::take(&mut self.emptied);
        let (mut mine, others): (Vec<Survey>, Vec<Survey>) = all
            .into_iter()
            .partition(|survey| survey.withdrawn.contains(&content));
        let touched = self.add(content, placement, &BTreeSet::new(), &mut mine);
        self.emptied = others;
        self.emptied.extend(mine);
        for survey in self.surveys.iter_mut().chain(&mut self.emptied) {
            survey.withdrawn.remove(&content);
        }
        if let Some(old) = replaces {
            self.remove(old, &touched);
            self.out.insert(old);
        }
    }

    /// All surveys, by tank, then by their first reading, then by id.
    pub fn entries(&self) -> Vec<Entry> {
        let mut entries: Vec<Entry> = self
            .surveys
            .iter()
            .filter_map(|survey| {
                Some(Entry {
                    tank: survey.tank.clone(),
                    id: survey.id.clone(),
                    scene: survey.scene.clone(),
                    span: survey.span()?,
                    contents: survey.parts.keys().copied().collect(),
                    withdrawn: survey.withdrawn.iter().copied().collect(),
                    revision: survey.revision,
                    replaces: survey.replaces.clone(),
                })
            })
            .collect();
        entries.sort_by(|a, b| (&a.tank, a.span.start, &a.id).cmp(&(&b.tank, b.span.start, &b.id)));
        entries
    }

    /// Adds a content; surveys named in `counted` have this arrival in their revision already, and `emptied`
    /// held nothing else before: what reaches no other survey but one of these goes on under its id. Gives
    /// the ids of the surveys it touched.
    fn add(
        &mut self,
        content: usize,
        placement: &Placement,
        counted: &BTreeSet<(String, String)>,
        emptied: &mut Vec<Survey>,
    ) -> BTreeSet<(String, String)> {
        let mut touched = BTreeSet::new();
        for span in &placement.spans {
            let mut reached: Vec<usize> = (0..self.surveys.len())
                .filter(|index| {
                    let survey = &self.surveys[*index];
                    survey.tank == placement.tank
                        && survey.scene == placement.scene
                        && survey.span().is_some_and(|whole| whole.reaches(span))
                })
                .collect();
            reached.sort_by_key(|index| {
                (
                    self.surveys[*index].span().map(|s| s.start),
                    self.surveys[*index].id.clone(),
                )
            });
            let Some((&keeper, others)) = reached.split_first() else {
                let same = emptied.iter().position(|survey| {
                    survey.tank == placement.tank
                        && survey.scene == placement.scene
                        && survey.span().is_some_and(|whole| whole.reaches(span))
                });
                if let Some(same) = same {
                    let survey = emptied.remove(same);
                    touched.insert((survey.tank.clone(), survey.id.clone()));
                    self.surveys.push(Survey {
                        parts: BTreeMap::from([(content, vec![*span])]),
                        revision: survey.revision + 1,
                        ..survey
                    });
                    continue;
                }
                let id = self.free_id(&placement.tank, placement.scene.as_deref(), span.start);
                touched.insert((placement.tank.clone(), id.clone()));
                self.surveys.push(Survey {
                    tank: placement.tank.clone(),
                    scene: placement.scene.clone(),
                    id,
                    parts: BTreeMap::from([(content, vec![*span])]),
                    withdrawn: BTreeSet::new(),
                    revision: 1,
                    replaces: Vec::new(),
                });
                continue;
            };
            let mut others = others.to_vec();
            others.sort_unstable_by(|a, b| b.cmp(a));
            let mut taken_over: Vec<Survey> = others
                .into_iter()
                .map(|index| self.surveys.remove(index))
                .collect();
            taken_over.sort_by_key(|survey| survey.span().map(|s| s.start));
            // Removing shifted what came after; the keeper is found again by its id.
            let keeper_index = keeper - reached.iter().skip(1).filter(|index| **index < keeper).count();
            let survey = &mut self.surveys[keeper_index];
            for other in taken_over {
                for (part, spans) in other.parts {
                    survey.parts.entry(part).or_default().extend(spans);
                }
                survey.replaces.push(other.id);
                survey.replaces.extend(other.replaces);
                survey.withdrawn.extend(other.withdrawn);
            }
            survey.parts.entry(content).or_default().push(*span);
            let key = (survey.tank.clone(), survey.id.clone());
            if touched.insert(key.clone()) && !counted.contains(&key) {
                survey.revision += 1;
            }
        }
        touched
    }

    /// Takes a content out of every survey. A survey that falls apart keeps its id for its first part.
    fn remove(&mut self, content: usize, counted: &BTreeSet<(String, String)>) -> BTreeSet<(String, String)> {
        let mut touched = BTreeSet::new();
        let mut split_off = Vec::new();
        for survey in &mut self.surveys {
            if survey.parts.remove(&content).is_none() {
                continue;
            }
            let key = (survey.tank.clone(), survey.id.clone());
            if !counted.contains(&key) {
                survey.revision += 1;
            }
            touched.insert(key);
            let pieces = survey.spans();
            let Some(first) = pieces.first() else { continue };
            for piece in pieces.iter().skip(1) {
                let mut parts: BTreeMap<usize, Vec<Span>> = BTreeMap::new();
                for (part, spans) in &survey.parts {
                    let inside: Vec<Span> = spans
                        .iter()
                        .filter(|span| piece.holds(span.start))
                        .copied()
                        .collect();
                    if !inside.is_empty() {
                        parts.insert(*part, inside);
                    }
                }
                split_off.push((survey.tank.clone(), survey.scene.clone(), *piece, parts));
            }
            for spans in survey.parts.values_mut() {
                spans.retain(|span| first.holds(span.start));
            }
            survey.parts.retain(|_, spans| !spans.is_empty());
        }
        self.surveys.retain(|survey| !survey.parts.is_empty());
        for (tank, scene, piece, parts) in split_off {
            let id = self.free_id(&tank, scene.as_deref(), piece.start);
            touched.insert((tank.clone(), id.clone()));
            self.surveys.push(Survey {
                tank,
                scene,
                id,
                parts,
                withdrawn: BTreeSet::new(),
                revision: 1,
                replaces: Vec::new(),
            });
        }
        touched
    }

    fn free_id(&mut self, tank: &str, scene: Option<&str>, first: Timestamp) -> String {
        let date = local_date(first, &self.zone);
        let stem = scene.map_or_else(|| date.to_string(), |scene| format!("{date}-{scene}"));
        let mut id = stem.clone();
        let mut number = 2_u32;
        while !self.given.insert((tank.to_owned(), id.clone())) {
            id = format!("{stem}-{number}");
            number += 1;
        }
        id
    }
}

/// The day of the zone in which an instant lies.
pub fn local_date(instant: Timestamp, zone: &TimeZone) -> Date {
    zone.to_datetime(instant).date()
}

#[cfg(test)]
mod tests;
