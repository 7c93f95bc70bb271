//! What a script writes to its error output: messages in a fixed form, and words for the log.
//!
//! | a line | is |
//! |---|---|
//! | `line 3, column 2: TEXT` or `line 3: TEXT` | a problem |
//! | `found KEY = TEXT`, `assumed KEY = TEXT` | a fact |
//! | `question: TEXT`, then `choice: TEXT` for each answer | what only the keeper can tell |
//! | `failure: TEXT`, `failure: line 3, column 2: TEXT` | why the file can't be used |
//! | anything else | for the log |

use undim_import::wire::{CHOICES, Ending, FACTS, MESSAGE_BYTES, PROBLEMS};

/// So much goes to the log.
const LOG_BYTES: usize = 64 << 10;

/// What was said so far.
#[derive(Debug, Default)]
pub(super) struct Said {
    /// Key, text, whether assumed.
    pub(super) facts: Vec<(String, String, bool)>,
    /// Line, column, text.
    pub(super) problems: Vec<(u64, u32, String)>,
    /// The first failure or question.
    pub(super) told: Option<Ending>,
    /// What goes to the log.
    pub(super) log: Vec<u8>,
    /// The last line that is for the log.
    pub(super) last: String,
    /// A line without its end.
    open: Vec<u8>,
    /// Too much of something, as half a sentence.
    pub(super) breach: Option<String>,
}

impl Said {
    /// Takes what came.
    pub(super) fn take(&mut self, bytes: &[u8]) {
        for part in bytes.split_inclusive(|byte| *byte == b'\n') {
            // A line that never ends is cut where no message is that long.
            let room = MESSAGE_BYTES.saturating_sub(self.open.len());
            self.open.extend(part.iter().take(room));
            if part.ends_with(b"\n") {
                self.end_line();
            }
        }
    }

    /// The last line may lack its end.
    pub(super) fn close(&mut self) {
        if !self.open.is_empty() {
            self.end_line();
        }
    }

    fn end_line(&mut self) {
        let line = std::mem::take(&mut self.open);
        let text = String::from_utf8_lossy(&line);
        let text = text.trim_end();
        if !self.message(text) && !text.is_empty() {
            text.clone_into(&mut self.last);
            let room = LOG_BYTES.saturating_sub(self.log.len());
            self.log.extend(text.bytes().chain([b'\n']).take(room));
        }
    }

    /// False where a line is none of the messages.
    fn message(&mut self, text: &str) -> bool {
        if let Some((line, column, text)) = placed(text) {
            // The encoder counts the others, and no more than one more is needed for that.
            if self.problems.len() <= PROBLEMS {
                self.problems.push((line, column, text.to_owned()));
            }
            return true;
        }
        if let Some(question) = text.strip_prefix("question: ") {
            self.told.get_or_insert(Ending::Question {
                text: question.to_owned(),
                choices: Vec::new(),
            });
            return true;
        }
        if let Some(choice) = text.strip_prefix("choice: ") {
            match &mut self.told {
                Some(Ending::Question { choices, .. }) if choices.len() < CHOICES => {
                    choices.push(choice.to_owned());
                }
                Some(Ending::Question { .. }) => self.breaks("it offered too many choices"),
                Some(_) => {}
                None => self.breaks("it offered a choice without a question"),
            }
            return true;
        }
        if let Some(failure) = text.strip_prefix("failure: ") {
            let (line, column, text) = placed(failure).unwrap_or((0, 0, failure));
            self.told.get_or_insert(Ending::Unusable {
                line,
                column,
                option: None,
                text: text.to_owned(),
            });
            return true;
        }
        for (word, assumed) in [("found ", false), ("assumed ", true)] {
            let fact = text
                .strip_prefix(word)
                .and_then(|rest| rest.split_once(" = "))
                .filter(|(key, _)| !key.is_empty() && !key.contains(char::is_whitespace));
            if let Some((key, value)) = fact {
                if self.facts.len() < FACTS {
                    self.facts.push((key.to_owned(), value.to_owned(), assumed));
                } else {
                    self.breaks(&format!("it told more than {FACTS} facts about one file"));
                }
                return true;
            }
        }
        false
    }

    fn breaks(&mut self, what: &str) {
        self.breach.get_or_insert_with(|| what.to_owned());
    }
}

/// `line 3, column 2: text` or `line 3: text`.
fn placed(text: &str) -> Option<(u64, u32, &str)> {
    let (place, text) = text.strip_prefix("line ")?.split_once(": ")?;
    let (line, column) = match place.split_once(", column ") {
        Some((line, column)) => (line, column.parse().ok()?),
        None => (place, 0),
    };
    Some((line.parse().ok()?, column, text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_are_told_from_words_for_the_log() {
        let mut said = Said::default();
        said.take(b"line 3, column 2: no number\nline 4: short\nfound unit = lx\nassumed timezone = Europe/");
        said.take(b"Lisbon\nline three: hm\nfound it\nTraceback\n  ValueError: x");
        said.close();
        assert_eq!(
            said.problems,
            [(3, 2, "no number".to_owned()), (4, 0, "short".to_owned())]
        );
        assert_eq!(
            said.facts,
            [
                ("unit".to_owned(), "lx".to_owned(), false),
                ("timezone".to_owned(), "Europe/Lisbon".to_owned(), true)
            ]
        );
        assert_eq!(said.last, "  ValueError: x");
        assert_eq!(
            said.log,
            b"line three: hm\nfound it\nTraceback\n  ValueError: x\n"
        );
        assert_eq!((said.told, said.breach), (None, None));
    }

    #[test]
    fn the_first_failure_or_question_counts() {
        let mut said = Said::default();
        said.take(b"question: day or month first?\nchoice: day\nchoice: month\nfailure: line 2: x\n");
        assert_eq!(
            said.told,
            Some(Ending::Question {
                text: "day or month first?".to_owned(),
                choices: vec!["day".to_owned(), "month".to_owned()],
            })
        );
        let mut said = Said::default();
        said.take(b"failure: line 2, column 4: torn\n");
        assert_eq!(
            said.told,
            Some(Ending::Unusable {
                line: 2,
                column: 4,
                option: None,
                text: "torn".to_owned()
            })
        );
    }

    #[test]
    fn floods_are_cut() {
        let mut said = Said::default();
        said.take(&b"x".repeat(4 << 20));
        said.take(b"\n");
        said.take(&b"line 1: no\n".repeat(5000));
        said.take(&b"words\n".repeat(50_000));
        said.take(&b"found unit = lx\n".repeat(FACTS + 1));
        assert!(said.problems.len() <= PROBLEMS + 1 && said.log.len() <= LOG_BYTES);
        assert!(said.breach.is_some_and(|what| what.contains("facts")));
    }
}
