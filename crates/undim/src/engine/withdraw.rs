//! `undim withdraw`: a file out of every judgement, and back. Its raw bytes stay.
//!
//! The ledger is told first, in one transaction, then the record beside the bytes: a program killed in between
//! finds the line missing at its next start and writes it before anything else. What follows from it is derived
//! after that, as at every start.

use super::{Engine, EngineError};
use jiff::Timestamp;
use std::collections::BTreeSet;
use undim_intake::names;
use undim_intake::spool::{Happening, Record};
use undim_model::Alert;
use undim_store::{Batch, Content, ContentState, Decision, Withdrawal};

/// The shortest beginning of a hash that names a file.
const SHORTEST_HASH: usize = 4;
/// As much of a hash as tells files apart on a terminal.
const SHORT_HASH: usize = 12;

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Withdrawn {
    pub(crate) content: Content,
    pub(crate) what: Decision,
    pub(crate) when: Timestamp,
    /// The shorter file that it had replaced: counts again, or is replaced again.
    pub(crate) other: Option<String>,
    /// Surveys that it touched.
    pub(crate) surveys: Vec<TouchedSurvey>,
    /// Alerts that were open, or opened, and are not there any more.
    pub(crate) alerts_gone: Vec<String>,
    /// Alerts that are open now and were not.
    pub(crate) alerts_opened: Vec<String>,
}

/// A survey that a withdrawal touched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TouchedSurvey {
    pub(crate) tank: String,
    pub(crate) id: String,
    /// Its revision now; `None` where nothing is left of it.
    pub(crate) revision: Option<u32>,
}

/// Why nothing was withdrawn.
#[derive(Debug, thiserror::Error)]
pub(crate) enum WithdrawError {
    /// What was typed; a sentence that says what to type instead.
    #[error("{0}")]
    Typed(String),
    /// Outbox or state.
    #[error(transparent)]
    Engine(#[from] EngineError),
}

impl From<undim_store::StoreError> for WithdrawError {
    fn from(error: undim_store::StoreError) -> Self {
        Self::Engine(error.into())
    }
}

impl Engine {
    /// Takes a file out of every judgement, or back, and derives what follows. `source` is its inbox path, its name,
    /// or a beginning of its BLAKE3.
    pub(crate) fn withdraw(
        &mut self,
        source: &str,
        what: Decision,
        why: &str,
        now: Timestamp,
    ) -> Result<Withdrawn, WithdrawError> {
        self.load_held()?;
        let mut contents = self.store.all_in_order()?;
        let typed = self.below_the_inbox(source);
        let number = named(&contents, &typed, source, what).map_err(WithdrawError::Typed)?;
        let earlier = self.store.withdrawals()?;
        let other = decide(&mut contents, number, what, why, &earlier).map_err(WithdrawError::Typed)?;
        let content = contents[number].clone();
        let withdrawal = Withdrawal {
            arrival: self.store.next_arrival()?.max(content.arrival + 2),
            content: content.hash.clone(),
            what,
            why: why.to_owned(),
            when_us: now.as_microsecond(),
            other: other.clone(),
        };
        let (surveys_before, alerts_before) = (self.surveys_with(&content.hash), self.open_alerts_by_tank()?);
        let shorter = contents.iter().find(|one| Some(&one.hash) == other.as_ref());
        let batch = Batch {
            contents: shorter.into_iter().chain([&content]).cloned().collect(),
            withdrawals: vec![withdrawal.clone()],
            ..Batch::default()
        };
        let other = shorter.map(|one| one.shown.clone());
        self.store.commit(&batch)?;
        self.keep(&record_of(&withdrawal))?;
        self.derive_all()?;
        let surveys = surveys_before
            .into_iter()
            .chain(self.surveys_with(&content.hash))
            .collect::<BTreeSet<_>>();
        let alerts = self.open_alerts_by_tank()?;
        let not_in = |these: &[(String, Alert)], those: &[(String, Alert)]| {
            let new = these
                .iter()
                .filter(|(tank, alert)| !those.iter().any(|(of, one)| of == tank && one.id == alert.id));
            new.map(|(tank, alert)| format!("{tank}/{}", alert.id)).collect()
        };
        Ok(Withdrawn {
            what,
            when: now,
            other,
            surveys: surveys
                .into_iter()
                .map(|(tank, id)| TouchedSurvey {
                    revision: self
                        .surveys
                        .get(&(tank.clone(), id.clone()))
                        .map(|(_, survey)| survey.revision),
                    tank,
                    id,
                })
                .collect(),
            alerts_gone: not_in(&alerts_before, &alerts),
            alerts_opened: not_in(&alerts, &alerts_before),
            content,
        })
    }

    /// Every decision of the ledger stands beside its bytes too: one that a killed program left out is added.
    pub(super) fn record_withdrawals(&self) -> Result<(), EngineError> {
        for withdrawal in self.store.withdrawals()? {
            self.keep(&record_of(&withdrawal))?;
        }
        Ok(())
    }

    /// A path as typed, relative to the inbox.
    fn below_the_inbox(&self, typed: &str) -> String {
        let inbox = &self.site.inbox;
        let here = std::path::Path::new(typed);
        let below = here.strip_prefix(inbox).ok().or_else(|| {
            let name = inbox.file_name()?;
            here.strip_prefix(".").unwrap_or(here).strip_prefix(name).ok()
        });
        below.map_or_else(|| typed.to_owned(), |path| path.to_string_lossy().into_owned())
    }

    /// Tank and id of the surveys that a content is part of.
    pub(super) fn surveys_with(&self, hash: &str) -> Vec<(String, String)> {
        self.surveys
            .iter()
            .filter(|(_, (_, survey))| survey.sources.iter().any(|source| source.blake3 == hash))
            .map(|(key, _)| key.clone())
            .collect()
    }

    fn open_alerts_by_tank(&self) -> Result<Vec<(String, Alert)>, EngineError> {
        let mut open = Vec::new();
        for tank in self
            .site
            .tanks
            .keys()
            .cloned()
            .chain(self.store.tanks()?)
            .collect::<BTreeSet<_>>()
        {
            let of_tank = super::open_alerts(&self.store, &tank)?;
            open.extend(of_tank.into_iter().map(|alert| (tank.clone(), alert)));
        }
        Ok(open)
    }
}

fn record_of(withdrawal: &Withdrawal) -> Record {
    let (why, when_us) = (withdrawal.why.clone(), withdrawal.when_us);
    Record {
        arrival: withdrawal.arrival,
        hash: withdrawal.content.clone(),
        happening: match withdrawal.what {
            Decision::Withdrawn => Happening::Withdrawn { why, when_us },
            Decision::Reinstated => Happening::Reinstated { why, when_us },
        },
    }
}

/// Withdraws one of the contents, or takes that back; gives the hash of the shorter one that counts again, or is
/// replaced again.
pub(super) fn decide(
    contents: &mut [Content],
    number: usize,
    what: Decision,
    why: &str,
    earlier: &[Withdrawal],
) -> Result<Option<String>, String> {
    let hash = contents[number].hash.clone();
    let state = contents[number].state;
    match (what, state) {
        (Decision::Withdrawn, ContentState::Taken) => {
            (contents[number].state, contents[number].why) = (ContentState::Withdrawn, Some(why.to_owned()));
            let old = contents
                .iter_mut()
                .find(|content| content.superseded_by.as_ref() == Some(&hash));
            Ok(old.map(|old| {
                (old.state, old.superseded_by) = (ContentState::Taken, None);
                old.hash.clone()
            }))
        }
        (Decision::Reinstated, ContentState::Withdrawn) => {
            (contents[number].state, contents[number].why) = (ContentState::Taken, None);
            let before = earlier.iter().rev().find(|one| one.content == hash);
            let brought_back = before.and_then(|one| one.other.clone());
            let old = contents.iter_mut().find(|content| {
                Some(&content.hash) == brought_back.as_ref() && content.state == ContentState::Taken
            });
            Ok(old.map(|old| {
                (old.state, old.superseded_by) = (ContentState::Superseded, Some(hash.clone()));
                old.hash.clone()
            }))
        }
        _ => Err(refusal(&contents[number], what, contents)),
    }
}

/// The content that is meant; a sentence where none or several are.
fn named(contents: &[Content], typed: &str, given: &str, what: Decision) -> Result<usize, String> {
    let shown = names::harmless(given);
    let taken = typed.strip_prefix("taken/").unwrap_or(typed);
    let of = |wanted: &dyn Fn(&Content) -> bool| -> Vec<usize> {
        (0..contents.len()).filter(|at| wanted(&contents[*at])).collect()
    };
    let by_path = of(&|content| content.shown == typed);
    let by_path = if by_path.is_empty() {
        of(&|content| content.shown == taken)
    } else {
        by_path
    };
    let by_name = of(&|content| names::shown(names::file_name(&content.path)) == typed);
    let lower = typed.to_ascii_lowercase();
    let is_hash = lower.len() >= SHORTEST_HASH && lower.bytes().all(|byte| byte.is_ascii_hexdigit());
    let by_hash = of(&|content| is_hash && content.hash.starts_with(&lower));
    let found = [by_path, by_name, by_hash]
        .into_iter()
        .find(|found| !found.is_empty());
    let Some(found) = found else {
        return Err(format!(
            "no file “{shown}” was ever taken in; name it by its inbox path, its file name, or at least {SHORTEST_HASH} digits of its BLAKE3, as survey.json has them under sources"
        ));
    };
    // Of several from one path only those can be meant that this can be done to.
    let wanted = match what {
        Decision::Withdrawn => ContentState::Taken,
        Decision::Reinstated => ContentState::Withdrawn,
    };
    let fit: Vec<usize> = found
        .iter()
        .copied()
        .filter(|at| contents[*at].state == wanted)
        .collect();
    match (fit.as_slice(), found.as_slice()) {
        ([one], _) | ([], [one]) => Ok(*one),
        ([], [.., last]) => Err(refusal(&contents[*last], what, contents)),
        _ => {
            let list: Vec<String> = fit.iter().map(|at| identified(&contents[*at])).collect();
            Err(format!(
                "“{shown}” may be {} files: {}; name one by its path, or by the beginning of its BLAKE3",
                fit.len(),
                list.join(", ")
            ))
        }
    }
}

/// "harbour/phone/may.csv (3f2a…)".
fn identified(content: &Content) -> String {
    format!(
        "{} ({}…)",
        content.shown,
        content.hash.get(..SHORT_HASH).unwrap_or(&content.hash)
    )
}

/// Why it can't be done to this content.
fn refusal(content: &Content, what: Decision, contents: &[Content]) -> String {
    let shown = &content.shown;
    let why = names::harmless(content.why.as_deref().unwrap_or_default());
    match (content.state, what) {
        (ContentState::Withdrawn, _) => format!(
            "{shown} is withdrawn already: {why}. `undim withdraw {} --undo` takes that back",
            content.hash.get(..SHORT_HASH).unwrap_or(&content.hash)
        ),
        (ContentState::SetAside, _) => {
            format!("{shown} was set aside and counts nowhere, so there is nothing to withdraw: {why}")
        }
        (ContentState::Superseded, _) => {
            let by = contents
                .iter()
                .find(|one| Some(&one.hash) == content.superseded_by.as_ref());
            let by = by.map_or_else(String::new, |by| format!(", {}", identified(by)));
            format!(
                "{shown} counts nowhere any more: a longer file that begins with it has replaced it{by}; withdraw that one, and this one counts again"
            )
        }
        (ContentState::Archived, _) => format!("{shown} was never taken in; run `undim sweep` first"),
        (ContentState::Taken, _) => {
            format!(
                "{shown} is not withdrawn, so there is nothing to undo; `undim withdraw` alone lists what is"
            )
        }
    }
}
