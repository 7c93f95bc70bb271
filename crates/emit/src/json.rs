//! JSON as all our files use it: numbers by our own printer, and characters that hide or turn text spelled
//! out, so that a file can be shown on a terminal as it stands.

use crate::{number, text_cell};
use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, PrettyFormatter};
use std::io;

/// Writes `value` over several lines, indented by two, with a line end.
pub(crate) fn write_pretty<W: io::Write>(to: W, value: &impl Serialize) -> io::Result<()> {
    write(to, PrettyFormatter::new(), value)
}

/// Writes `value` as one line, with its line end.
pub(crate) fn write_line<W: io::Write>(to: W, value: &impl Serialize) -> io::Result<()> {
    write(to, CompactFormatter, value)
}

fn write<W: io::Write>(mut to: W, formatter: impl Formatter, value: &impl Serialize) -> io::Result<()> {
    let mut serializer = serde_json::Serializer::with_formatter(&mut to, Plain(formatter));
    value.serialize(&mut serializer)?;
    to.write_all(b"\n")
}

/// A number with a fixed number of decimals; `null` where there is none.
pub(crate) fn rounded(value: Option<f64>, decimals: usize) -> Option<f64> {
    value.and_then(|value| number::rounded(value, decimals))
}

/// A formatter whose layout is another's.
struct Plain<F>(F);

macro_rules! as_the_other {
    ($($name:ident($($argument:ident: $kind:ty),*);)+) => { $(
        fn $name<W: ?Sized + io::Write>(&mut self, to: &mut W $(, $argument: $kind)*) -> io::Result<()> {
            self.0.$name(to $(, $argument)*)
        }
    )+ };
}

impl<F: Formatter> Formatter for Plain<F> {
    as_the_other! {
        begin_array();
        end_array();
        begin_array_value(first: bool);
        end_array_value();
        begin_object();
        end_object();
        begin_object_key(first: bool);
        begin_object_value();
        end_object_value();
    }

    fn write_f64<W: ?Sized + io::Write>(&mut self, to: &mut W, value: f64) -> io::Result<()> {
        to.write_all(number::raw(value).as_bytes())
    }

    fn write_string_fragment<W: ?Sized + io::Write>(&mut self, to: &mut W, fragment: &str) -> io::Result<()> {
        let mut rest = fragment;
        while let Some(at) = rest.find(text_cell::is_hidden) {
            let (before, from) = rest.split_at(at);
            to.write_all(before.as_bytes())?;
            let mut after = from.chars();
            for unit in after.next().into_iter().flat_map(|c| {
                let mut units = [0; 2];
                c.encode_utf16(&mut units).to_vec()
            }) {
                write!(to, "\\u{unit:04x}")?;
            }
            rest = after.as_str();
        }
        to.write_all(rest.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(value: &impl Serialize) -> String {
        let mut bytes = Vec::new();
        write_line(&mut bytes, value).expect("written");
        String::from_utf8(bytes).expect("UTF-8")
    }

    #[test]
    fn numbers_have_no_exponent_and_no_number_is_null() {
        assert_eq!(
            line(&(12.0, 1e21, -0.0, f64::NAN)),
            "[12,1000000000000000000000,0,null]\n"
        );
        assert_eq!(line(&rounded(Some(2.675), 2)), "2.67\n");
    }

    #[test]
    fn hidden_characters_are_spelled_out() {
        assert_eq!(
            line(&"a\u{202e}b\u{9b}\u{1b}\n\"<"),
            "\"a\\u202eb\\u009b\\u001b\\n\\\"<\"\n"
        );
    }

    proptest! {
        #[test]
        fn every_text_reads_back(text in any::<String>()) {
            let back: String = serde_json::from_str(&line(&text)).expect("valid JSON");
            prop_assert_eq!(back, text);
        }
    }
}
