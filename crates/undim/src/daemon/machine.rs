//! What to do next: `watch` and `sweep` are this one machine, without a clock, a thread or a file.
//!
//! It takes one closed [`Event`] at a time with the monotonic time and answers with [`Action`]s. Events
//! of the file system are only hints: the machine answers them by looking at the inbox again, and what a
//! look finds is the truth.

use std::time::Duration;

/// Files still being written hold a sweep up for this long at most, beyond the settle time.
const LONGEST_WAIT_OF_A_SWEEP: Duration = Duration::from_secs(10);
/// After a stop has been asked for, work has this long to end by itself.
const LONGEST_WAIT_FOR_A_STOP: Duration = Duration::from_secs(3);
/// Looks come no closer than this many times the last one's duration.
const REST_BETWEEN_LOOKS: u32 = 5;

/// Whether the machine ends by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mode {
    /// Goes on until it is stopped.
    Watch,
    /// Takes in what lies in the inbox, then ends.
    Sweep,
}

/// How fast things go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pace {
    /// Files stand still this long before they are taken in.
    pub settle: Duration,
    /// The inbox is looked at this often, whatever the events say.
    pub rescan: Duration,
}

/// What a look at the inbox found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Looked {
    /// How long it took.
    pub took: Duration,
    /// Files at rest, ready to be taken in.
    pub ready: usize,
    /// Files that have not stood still long enough.
    pub settling: usize,
    /// When the first of them may be at rest.
    pub settled_at: Option<Duration>,
    /// True where the inbox is another folder than before, or back again.
    pub other_folder: bool,
    /// True where something was noticed that only time shows: there may be notices to send.
    pub has_news: bool,
    /// When the next thing of that kind is due, from now.
    pub due_in: Option<Duration>,
}

/// Everything that can happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Event {
    /// Something may have changed in the inbox.
    Hint,
    /// The time asked for by `wake_at` has come.
    Tick,
    /// A look ended.
    Looked(Looked),
    /// A round of taking in ended; how many ready files are left.
    TookIn {
        /// Ready files that are left for the next round.
        left: usize,
    },
    /// Deliveries were tried; when the next one is due.
    Delivered {
        /// Time from now until the next try, where notices are waiting.
        next_in: Option<Duration>,
    },
    /// The configuration should be read again.
    Reload,
    /// It was read, with this pace.
    Reloaded {
        /// The pace now in force.
        pace: Pace,
    },
    /// The program should end.
    Stop,
}

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Action {
    /// Look at the inbox.
    Look,
    /// Take in a round of ready files, judge, and write what comes of it.
    TakeIn,
    /// Send waiting notices.
    Deliver,
    /// Watch the inbox anew.
    Rearm,
    /// Read the configuration again.
    Reload,
    /// Say that the first look is done.
    Ready,
    /// Ask running work to end.
    Cancel,
}

/// The machine.
#[derive(Debug)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is one thing under way or wanted; they combine freely"
)]
pub(crate) struct Machine {
    mode: Mode,
    pace: Pace,
    now: Duration,
    started: Duration,
    /// A look or a round is under way; never both.
    busy: bool,
    delivering: bool,
    reloading: bool,
    reload_wanted: bool,
    look_wanted: bool,
    /// No look before this.
    next_look_from: Duration,
    /// A look at the latest at this time.
    next_look_by: Duration,
    ready: usize,
    settling: usize,
    first_look_done: bool,
    deliver_at: Option<Duration>,
    stop_by: Option<Duration>,
}

impl Machine {
    /// A machine that starts by watching the inbox, then looking: in this order nothing falls between.
    pub(crate) fn start(mode: Mode, pace: Pace, now: Duration) -> (Self, Vec<Action>) {
        let machine = Self {
            mode,
            pace,
            now,
            started: now,
            busy: true,
            delivering: false,
            reloading: false,
            reload_wanted: false,
            look_wanted: false,
            next_look_from: now,
            next_look_by: now + pace.rescan,
            ready: 0,
            settling: 0,
            first_look_done: false,
            deliver_at: Some(now),
            stop_by: None,
        };
        let actions = match mode {
            Mode::Watch => vec![Action::Rearm, Action::Look],
            Mode::Sweep => vec![Action::Look],
        };
        (machine, actions)
    }

    /// Takes the next event and says what to do.
    pub(crate) fn handle(&mut self, now: Duration, event: Event) -> Vec<Action> {
        self.now = self.now.max(now);
        let mut actions = Vec::new();
        match event {
            Event::Hint => self.look_wanted = true,
            Event::Tick => {}
            Event::Looked(looked) => self.looked(looked, &mut actions),
            Event::TookIn { left } => {
                self.busy = false;
                self.ready = left;
                self.look_wanted |= left == 0;
                self.deliver_at = Some(self.now);
            }
            Event::Delivered { next_in } => {
                self.delivering = false;
                // A round that ended meanwhile may have left new notices.
                if self.deliver_at.is_none() {
                    self.deliver_at = next_in.map(|wait| self.now + wait);
                }
            }
            Event::Reload => self.reload_wanted = true,
            Event::Reloaded { pace } => {
                self.reloading = false;
                self.pace = pace;
                self.look_wanted = true;
                if self.mode == Mode::Watch && self.stop_by.is_none() {
                    actions.push(Action::Rearm);
                }
            }
            Event::Stop => {
                if self.stop_by.is_none() {
                    self.stop_by = Some(self.now + LONGEST_WAIT_FOR_A_STOP);
                    actions.push(Action::Cancel);
                } else {
                    self.stop_by = Some(self.now);
                }
            }
        }
        if self.stop_by.is_none() {
            self.next_work(&mut actions);
        }
        actions
    }

    fn looked(&mut self, looked: Looked, actions: &mut Vec<Action>) {
        self.busy = false;
        self.ready = looked.ready;
        self.settling = looked.settling;
        self.next_look_from = self.now + looked.took * REST_BETWEEN_LOOKS;
        self.next_look_by = self.now + self.pace.rescan;
        if let Some(settled_at) = looked.settled_at {
            self.next_look_by = self.next_look_by.min(settled_at.max(self.next_look_from));
        }
        if let Some(due_in) = looked.due_in {
            self.next_look_by = self
                .next_look_by
                .min(self.now.saturating_add(due_in).max(self.next_look_from));
        }
        if looked.has_news {
            self.deliver_at = Some(self.now);
        }
        if looked.other_folder && self.mode == Mode::Watch {
            actions.push(Action::Rearm);
            self.look_wanted = true;
        }
        if !self.first_look_done {
            self.first_look_done = true;
            actions.push(Action::Ready);
        }
    }

    fn next_work(&mut self, actions: &mut Vec<Action>) {
        if !self.busy && self.reload_wanted && !self.reloading {
            self.reload_wanted = false;
            self.reloading = true;
            actions.push(Action::Reload);
        }
        if !self.busy && !self.reloading {
            let due = self.now >= self.next_look_by || (self.look_wanted && self.now >= self.next_look_from);
            if self.ready > 0 {
                self.busy = true;
                actions.push(Action::TakeIn);
            } else if due {
                self.busy = true;
                self.look_wanted = false;
                actions.push(Action::Look);
            }
        }
        if !self.delivering && self.deliver_at.is_some_and(|at| at <= self.now) {
            self.delivering = true;
            self.deliver_at = None;
            actions.push(Action::Deliver);
        }
    }

    /// When the machine wants to be woken by a [`Event::Tick`].
    pub(crate) fn wake_at(&self) -> Option<Duration> {
        if let Some(stop_by) = self.stop_by {
            return Some(stop_by);
        }
        let look = (!self.busy && !self.reloading).then_some(if self.look_wanted {
            self.next_look_from
        } else {
            self.next_look_by
        });
        let deliver = if self.delivering { None } else { self.deliver_at };
        [look, deliver].into_iter().flatten().min()
    }

    /// True when nothing is left to do: a sweep that is through, or a stop that has been waited for.
    pub(crate) fn finished(&self) -> bool {
        let idle = !self.busy && !self.delivering && !self.reloading;
        if let Some(stop_by) = self.stop_by {
            return idle || self.now >= stop_by;
        }
        let waited = self.now.saturating_sub(self.started) > self.pace.settle + LONGEST_WAIT_OF_A_SWEEP;
        self.mode == Mode::Sweep
            && idle
            && self.first_look_done
            && self.ready == 0
            && !self.look_wanted
            && (self.settling == 0 || waited)
            && self.deliver_at.is_none_or(|at| at > self.now)
    }

    /// True after a stop was asked for.
    pub(crate) fn stopping(&self) -> bool {
        self.stop_by.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PACE: Pace = Pace {
        settle: Duration::from_secs(2),
        rescan: Duration::from_secs(30),
    };

    fn seconds(seconds: f64) -> Duration {
        Duration::from_secs_f64(seconds)
    }

    fn looked(ready: usize, settling: usize, settled_at: Option<f64>) -> Event {
        Event::Looked(Looked {
            took: Duration::from_millis(1),
            ready,
            settling,
            settled_at: settled_at.map(seconds),
            ..Looked::default()
        })
    }

    #[test]
    fn a_sweep_takes_in_what_is_ready_and_ends() {
        let (mut machine, first) = Machine::start(Mode::Sweep, PACE, seconds(0.0));
        assert_eq!(first, [Action::Look]);
        assert_eq!(
            machine.handle(seconds(0.1), looked(3, 0, None)),
            [Action::Ready, Action::TakeIn, Action::Deliver]
        );
        assert_eq!(
            machine.handle(seconds(0.2), Event::Delivered { next_in: None }),
            []
        );
        assert_eq!(
            machine.handle(seconds(0.3), Event::TookIn { left: 0 }),
            [Action::Look, Action::Deliver]
        );
        assert!(!machine.finished());
        machine.handle(seconds(0.4), looked(0, 0, None));
        assert!(!machine.finished(), "a notice is still being sent");
        machine.handle(
            seconds(0.5),
            Event::Delivered {
                next_in: Some(seconds(60.0)),
            },
        );
        assert!(machine.finished());
    }

    #[test]
    fn a_sweep_waits_for_files_to_settle_but_not_for_ever() {
        let (mut machine, _) = Machine::start(Mode::Sweep, PACE, seconds(0.0));
        machine.handle(seconds(0.1), looked(0, 1, Some(2.1)));
        machine.handle(seconds(0.2), Event::Delivered { next_in: None });
        assert!(!machine.finished());
        assert_eq!(machine.wake_at(), Some(seconds(2.1)));
        assert_eq!(machine.handle(seconds(2.1), Event::Tick), [Action::Look]);
        machine.handle(seconds(2.2), looked(0, 1, Some(4.2)));
        assert!(!machine.finished());
        machine.handle(seconds(12.5), looked(0, 1, Some(14.5)));
        assert!(machine.finished(), "the writer does not end");
    }

    #[test]
    fn hints_are_joined_and_looks_keep_their_distance() {
        let (mut machine, _) = Machine::start(Mode::Watch, PACE, seconds(0.0));
        let slow = Event::Looked(Looked {
            took: seconds(1.0),
            ..Looked::default()
        });
        assert_eq!(
            machine.handle(seconds(1.0), slow),
            [Action::Ready, Action::Deliver]
        );
        machine.handle(seconds(1.0), Event::Delivered { next_in: None });
        assert_eq!(machine.handle(seconds(1.1), Event::Hint), []);
        assert_eq!(machine.handle(seconds(1.2), Event::Hint), []);
        assert_eq!(machine.wake_at(), Some(seconds(6.0)));
        assert_eq!(machine.handle(seconds(6.0), Event::Tick), [Action::Look]);
        assert_eq!(
            machine.handle(seconds(6.1), Event::Hint),
            [],
            "one look at a time"
        );
    }

    #[test]
    fn a_folder_made_again_is_watched_again_and_looked_at_again() {
        let (mut machine, first) = Machine::start(Mode::Watch, PACE, seconds(0.0));
        assert_eq!(first, [Action::Rearm, Action::Look]);
        let other = Event::Looked(Looked {
            other_folder: true,
            ..Looked::default()
        });
        assert_eq!(
            machine.handle(seconds(1.0), other),
            [Action::Rearm, Action::Ready, Action::Look, Action::Deliver]
        );
    }

    #[test]
    fn without_any_event_the_inbox_is_listed_again() {
        let (mut machine, _) = Machine::start(Mode::Watch, PACE, seconds(0.0));
        machine.handle(seconds(0.0), looked(0, 0, None));
        machine.handle(seconds(0.0), Event::Delivered { next_in: None });
        assert_eq!(machine.wake_at(), Some(seconds(30.0)));
        assert_eq!(machine.handle(seconds(30.0), Event::Tick), [Action::Look]);
    }

    #[test]
    fn it_wakes_when_something_is_due_and_sends_what_was_noticed() {
        let (mut machine, _) = Machine::start(Mode::Watch, PACE, seconds(0.0));
        let due = Event::Looked(Looked {
            due_in: Some(seconds(7.0)),
            ..Looked::default()
        });
        machine.handle(seconds(1.0), due);
        machine.handle(seconds(1.0), Event::Delivered { next_in: None });
        assert_eq!(machine.wake_at(), Some(seconds(8.0)));
        assert_eq!(machine.handle(seconds(8.0), Event::Tick), [Action::Look]);
        let news = Event::Looked(Looked {
            has_news: true,
            ..Looked::default()
        });
        assert_eq!(machine.handle(seconds(8.1), news), [Action::Deliver]);
        machine.handle(seconds(8.2), Event::Delivered { next_in: None });
        assert_eq!(machine.wake_at(), Some(seconds(38.1)));
    }

    #[test]
    fn a_stop_cancels_waits_and_a_second_one_does_not_wait() {
        let (mut machine, _) = Machine::start(Mode::Watch, PACE, seconds(0.0));
        machine.handle(seconds(0.1), looked(1, 0, None));
        assert_eq!(machine.handle(seconds(0.2), Event::Stop), [Action::Cancel]);
        assert!(!machine.finished());
        assert_eq!(machine.wake_at(), Some(seconds(3.2)));
        assert_eq!(machine.handle(seconds(0.3), Event::Hint), []);
        machine.handle(seconds(0.4), Event::Stop);
        assert!(machine.finished());
    }

    #[test]
    fn a_reload_waits_for_running_work_and_rearms() {
        let (mut machine, _) = Machine::start(Mode::Watch, PACE, seconds(0.0));
        assert_eq!(machine.handle(seconds(0.1), Event::Reload), [Action::Deliver]);
        assert_eq!(
            machine.handle(seconds(0.2), looked(0, 0, None)),
            [Action::Ready, Action::Reload]
        );
        assert_eq!(
            machine.handle(seconds(0.3), Event::Reloaded { pace: PACE }),
            [Action::Rearm, Action::Look]
        );
    }
}
