//! Where rows, facts and problems go.

use crate::{Failure, Row, failure::Kind};
use undim_abi as abi;

/// One message on its way out.
pub(crate) struct Message<'m> {
    pub(crate) kind: u32,
    pub(crate) line: u64,
    pub(crate) column: u32,
    pub(crate) option: u32,
    pub(crate) key: &'m str,
    pub(crate) text: &'m str,
}

impl<'m> Message<'m> {
    fn new(kind: u32, text: &'m str) -> Self {
        Self {
            kind,
            line: 0,
            column: 0,
            option: abi::NO_OPTION,
            key: "",
            text,
        }
    }
}

/// The other side: undim, or a test.
pub(crate) trait Sink {
    /// Takes a row; false: stop.
    fn row(&mut self, row: &Row) -> bool;
    /// Takes a message; false: stop.
    fn say(&mut self, message: &Message) -> bool;
}

/// Where rows, facts and problems go. Nothing needs to be gathered: undim does.
pub struct Out<'a> {
    sink: &'a mut dyn Sink,
    stopped: bool,
}

impl<'a> Out<'a> {
    pub(crate) fn new(sink: &'a mut dyn Sink) -> Self {
        Self { sink, stopped: false }
    }

    /// Hands over a row. The error asks the importer to return it at once, which `?` does.
    pub fn push(&mut self, row: &Row) -> Result<(), Failure> {
        if self.stopped || !self.sink.row(row) {
            self.stopped = true;
            return Err(Failure::stopped());
        }
        Ok(())
    }

    /// Tells a fact that the file or the layout states.
    ///
    /// Keys: `encoding`, `delimiter`, `quote`, `decimal`, `header_line`, `timezone`, `unit`; `unit.x`, `unit.y`,
    /// `unit.z` for a coordinate unit; `columns.<column>` for where a column of [`Row`] comes from. undim acts on
    /// `timezone` (the zone of wall times: an IANA name or an offset such as `+01:00`) and on `unit.x`, `unit.y`,
    /// `unit.z` (`mm`, `cm`, `m` or `[in_i]`); the others are shown to the keeper.
    pub fn found(&mut self, key: &str, value: &str) {
        self.say(&Message {
            key,
            ..Message::new(abi::SAY_FOUND, value)
        });
    }

    /// Tells a fact that neither the file nor the layout states; keys as in [`found`](Self::found).
    pub fn assumed(&mut self, key: &str, value: &str) {
        self.say(&Message {
            key,
            ..Message::new(abi::SAY_ASSUMED, value)
        });
    }

    /// Tells of a place that could not be read as it stands, in a sentence; reading goes on.
    ///
    /// `line` counts from 1, `column` counts fields from 1; 0 where it concerns the whole file or the whole
    /// line. The first 1000 are kept, the others counted.
    pub fn problem(&mut self, line: u64, column: u32, text: &str) {
        self.say(&Message {
            line,
            column,
            ..Message::new(abi::SAY_PROBLEM, text)
        });
    }

    pub(crate) fn failure(&mut self, failure: &Failure) {
        match &failure.kind {
            Kind::Unusable { line, column, text } => {
                self.say(&Message {
                    line: *line,
                    column: *column,
                    ..Message::new(abi::SAY_FAILURE, text)
                });
            }
            Kind::Option { index, text } => {
                self.say(&Message {
                    option: *index,
                    ..Message::new(abi::SAY_FAILURE, text)
                });
            }
            Kind::Question { text, choices } => {
                self.say(&Message::new(abi::SAY_QUESTION, text));
                for choice in choices {
                    self.say(&Message::new(abi::SAY_CHOICE, choice));
                }
            }
            Kind::Stopped => {}
        }
    }

    fn say(&mut self, message: &Message) {
        self.stopped = self.stopped || !self.sink.say(message);
    }
}
