//! Sends waiting notices, each at least once, without holding up the intake.

use super::sinks::{WaitingNotice, key, send, wait_after};
use super::{Engine, EngineError};
use crate::daemon::lock;
use jiff::Timestamp;
use std::path::Path;
use std::sync::Mutex;
use std::time::Duration;
use undim_config::NotifySink;
use undim_store::Delivery;

/// A receiver that fails for a week is given up; the notice stays in the ledger and in the status.
const GIVE_UP_AFTER: Duration = Duration::from_hours(7 * 24);

/// Sends what is due; gives the time until the next try. The engine is held only to look and to mark.
pub(crate) fn deliver(engine: &Mutex<Engine>) -> Option<Duration> {
    let (due, sinks, root, cancel) = {
        let mut engine = lock(engine);
        (
            engine.due(),
            engine.site.notify.clone(),
            engine.site.root.clone(),
            engine.cancel(),
        )
    };
    for delivery in due {
        if cancel.asked() {
            break;
        }
        let outcome = attempt(&delivery, &sinks, &root);
        let mut engine = lock(engine);
        if let Err(error) = engine.mark(&delivery, outcome) {
            engine.trouble(error.to_string());
            break;
        }
    }
    lock(engine).next_due()
}

/// Nothing where the receiver is no more configured: there is nobody to tell.
fn attempt(delivery: &Delivery, sinks: &[NotifySink], root: &Path) -> Option<Result<(), String>> {
    let sink = sinks.iter().find(|sink| key(sink) == delivery.sink)?;
    let notice: WaitingNotice = match serde_json::from_str(&delivery.notice) {
        Ok(notice) => notice,
        Err(error) => return Some(Err(error.to_string())),
    };
    Some(send(sink, root, &notice))
}

impl Engine {
    fn due(&mut self) -> Vec<Delivery> {
        match self.store.due(Timestamp::now().as_microsecond()) {
            Ok(due) => due,
            Err(error) => {
                self.trouble(error.to_string());
                Vec::new()
            }
        }
    }

    fn mark(&mut self, delivery: &Delivery, outcome: Option<Result<(), String>>) -> Result<(), EngineError> {
        let now_us = Timestamp::now().as_microsecond();
        match outcome {
            Some(Ok(())) => {
                tracing::info!(notice = delivery.change_id, to = delivery.sink, "sent");
                self.store.mark_sent(delivery.id, now_us)?;
            }
            Some(Err(why)) => {
                let waited = Duration::from_micros(now_us.saturating_sub(delivery.created_us).unsigned_abs());
                let wait = wait_after(delivery.attempts + 1);
                let next = (waited < GIVE_UP_AFTER).then(|| now_us + wait.as_micros() as i64);
                tracing::warn!(
                    notice = delivery.change_id,
                    to = delivery.sink,
                    why,
                    "not sent; it is tried again"
                );
                self.store.mark_failed(delivery.id, &why, next)?;
            }
            None => self
                .store
                .mark_failed(delivery.id, "this receiver is no more configured", None)?,
        }
        Ok(())
    }

    fn next_due(&self) -> Option<Duration> {
        let next = self.store.next_due_us().ok().flatten()?;
        let wait = next.saturating_sub(Timestamp::now().as_microsecond()).max(0);
        Some(Duration::from_micros(wait.unsigned_abs()).max(Duration::from_millis(50)))
    }
}
