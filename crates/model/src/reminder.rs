//! What no file tells: that one has not come, that a sensor fell silent, that the machine needs a look.

use jiff::Timestamp;
use jiff::civil::Date;

/// What a reminder is about, with the facts it rests on.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// No survey came within the tank's `every`.
    Overdue {
        /// The last survey's id.
        survey: String,
        /// Its first reading.
        last: Timestamp,
        /// The tank's `every`, seconds.
        every_seconds: u64,
    },
    /// The readings of a mounted sensor stopped.
    Stopped {
        /// Its station.
        station: String,
        /// Its last reading.
        last: Timestamp,
    },
    /// A mounted sensor sees light while the programme is dark.
    LitAtNight {
        /// Its station.
        station: String,
        /// The day on which the dark hours began.
        day: Date,
        /// Minutes with light.
        minutes: u32,
    },
    /// A mounted sensor sees no light by noon although the programme is on.
    DarkByNoon {
        /// Its station.
        station: String,
        /// The day.
        day: Date,
    },
    /// Files were set aside.
    SetAside {
        /// Where they lie, relative to the inbox, as shown.
        paths: Vec<String>,
        /// Why the first of them was.
        why: String,
    },
    /// The inbox is not there.
    InboxMissing {
        /// Where it should be.
        folder: String,
    },
    /// Hardly any room is left on a disk.
    DiskFull {
        /// The folder that lies on it.
        folder: String,
        /// What was left, MiB.
        left_mib: u64,
    },
    /// The machine's clock jumped.
    ClockJumped {
        /// By so much; negative: back.
        seconds: i64,
    },
    /// The certificate of a reference ran out.
    Expired {
        /// The device's id.
        device: String,
        /// Its last day.
        valid_until: Date,
    },
}

/// A reminder: something that is so, and since when.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Reminder {
    /// The tank's id; `None` where it belongs to the whole site.
    pub tank: Option<String>,
    /// What it is about.
    pub subject: Subject,
    /// Since when it is so: a survey's or a reading's time with what is allowed for added to it, the start of a
    /// day, or where nothing else is known the time at which it was noticed.
    pub since: Timestamp,
}

impl Reminder {
    /// True where the two speak of the same event, however often it is looked at.
    pub fn is_same_event(&self, other: &Self) -> bool {
        use Subject::{
            ClockJumped, DarkByNoon, DiskFull, Expired, InboxMissing, LitAtNight, Overdue, SetAside, Stopped,
        };
        self.tank == other.tank
            && match (&self.subject, &other.subject) {
                (Overdue { last: a, .. }, Overdue { last: b, .. }) => a == b,
                (
                    Stopped {
                        station: a,
                        last: last_a,
                    },
                    Stopped {
                        station: b,
                        last: last_b,
                    },
                ) => a == b && last_a == last_b,
                (SetAside { paths: a, .. }, SetAside { paths: b, .. }) => {
                    a.iter().any(|path| b.contains(path))
                }
                (LitAtNight { station: a, .. }, LitAtNight { station: b, .. })
                | (DarkByNoon { station: a, .. }, DarkByNoon { station: b, .. })
                | (InboxMissing { folder: a }, InboxMissing { folder: b })
                | (DiskFull { folder: a, .. }, DiskFull { folder: b, .. }) => a == b,
                (ClockJumped { .. }, ClockJumped { .. }) => true,
                (
                    Expired {
                        device: a,
                        valid_until: until_a,
                    },
                    Expired {
                        device: b,
                        valid_until: until_b,
                    },
                ) => a == b && until_a == until_b,
                _ => false,
            }
    }

    /// True where it waits while the keeper is away. What stops the watch itself does not wait: light could be
    /// lost without anybody knowing.
    pub fn waits_while_away(&self) -> bool {
        !matches!(
            self.subject,
            Subject::InboxMissing { .. } | Subject::DiskFull { .. } | Subject::ClockJumped { .. }
        )
    }
}

/// What was noticed of a reminder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NoticeStep {
    /// It is so.
    Opened,
    /// It is over.
    Closed,
}

/// Something that time brought and that was noticed: kept, as nothing that is archived could tell it again.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Noticed {
    /// Opened or closed.
    pub step: NoticeStep,
    /// Since when, or at what time it was over: a survey's or a reading's time where there is one.
    pub at: Timestamp,
    /// The reminder as it stood when it was opened.
    pub reminder: Reminder,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_set_aside_together_are_one_event_as_long_as_one_of_them_lies_there() {
        let set_aside = |paths: &[&str]| Reminder {
            tank: None,
            subject: Subject::SetAside {
                paths: paths.iter().map(|path| (*path).to_owned()).collect(),
                why: String::new(),
            },
            since: Timestamp::UNIX_EPOCH,
        };
        assert!(set_aside(&["a", "b"]).is_same_event(&set_aside(&["b"])));
        assert!(!set_aside(&["a"]).is_same_event(&set_aside(&["b"])));
    }
}
