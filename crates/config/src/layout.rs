//! A layout, as an importer gets it: flattened, each value with its place in the file (formats, section 9).

use crate::item::Item;
use crate::walk::Table;
use std::fmt::Write as _;
use std::path::PathBuf;
use toml::de::DeValue;
use undim_import::wire::{ImportOption, OptionKind, option_path};

/// Where a value of a layout stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OptionPlace {
    /// From 1.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    /// Its bytes in the file's text (a byte order mark not counted).
    pub span: std::ops::Range<usize>,
}

/// How to read one kind of file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    /// Its file, relative to the site.
    pub file: PathBuf,
    /// In written order.
    pub options: Vec<ImportOption>,
    /// The place of each option, in the same order.
    pub places: Vec<OptionPlace>,
}

impl Layout {
    /// The value and its place that an importer's message names by index.
    pub fn option(&self, index: usize) -> Option<(&ImportOption, &OptionPlace)> {
        Some((self.options.get(index)?, self.places.get(index)?))
    }
}

/// All values below a table, in written order.
pub(crate) fn flatten(top: &Table) -> Layout {
    let mut layout = Layout {
        file: top.sheet.file.clone(),
        options: Vec::new(),
        places: Vec::new(),
    };
    for item in top.items() {
        flatten_item(&mut layout, &option_path([item.name]), &item);
    }
    layout
}

fn flatten_item(layout: &mut Layout, path: &str, item: &Item) {
    let (kind, text) = match item.value {
        DeValue::String(text) => (OptionKind::Text, text.to_string()),
        DeValue::Integer(number) => (OptionKind::Integer, integer(number.as_str(), number.radix())),
        DeValue::Float(number) => (
            OptionKind::Float,
            number.as_str().trim_start_matches('+').to_owned(),
        ),
        DeValue::Boolean(yes) => (OptionKind::Boolean, yes.to_string()),
        DeValue::Datetime(when) => (OptionKind::Date, when.to_string()),
        DeValue::Array(array) if !array.is_empty() => {
            for (at, element) in item.elements().iter().enumerate() {
                flatten_item(layout, &format!("{path}.{at}"), element);
            }
            return;
        }
        DeValue::Table(tree) if !tree.is_empty() => {
            for inner in item.entries() {
                flatten_item(layout, &format!("{path}.{}", option_path([inner.name])), &inner);
            }
            return;
        }
        DeValue::Array(_) | DeValue::Table(_) => (OptionKind::Empty, String::new()),
    };
    let (line, column) = item.sheet.place(item.span.start);
    layout.options.push(ImportOption {
        path: path.to_owned(),
        kind,
        text,
    });
    layout.places.push(OptionPlace {
        line,
        column,
        span: item.span.clone(),
    });
}

/// Decimal digits, whatever base it was written in; as written where it is too long for that.
fn integer(written: &str, radix: u32) -> String {
    let mut text = String::new();
    match i64::from_str_radix(written, radix) {
        Ok(number) => {
            // Writing to a String can't fail.
            let _ = write!(text, "{number}");
        }
        Err(_) => text.push_str(written),
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Sheet;
    use crate::walk::read;

    #[test]
    fn values_come_flat_in_written_order_with_their_places() {
        let text = "skip = 0x10\nmissing = [\"\", \"NA\"]\n\n[keep]\n\"Kind \\\"a\\\" 1.5\" = \"LIGHT\"\n\n[columns]\ntime = { from = [\"Datum\", \"Zeit\"] }\n\n[[value]]\ny = 20.0\nnone = []\nwhen = 2026-03-01\n";
        let sheet = Sheet::new("layouts/a.toml", text);
        let layout = read(&sheet, |top| {
            let layout = flatten(top);
            top.take_rest();
            layout
        });
        let flat: Vec<_> = layout
            .options
            .iter()
            .zip(&layout.places)
            .map(|(option, place)| {
                (
                    option.path.as_str(),
                    option.kind,
                    option.text.as_str(),
                    place.line,
                    place.column,
                )
            })
            .collect();
        assert_eq!(
            flat,
            [
                ("skip", OptionKind::Integer, "16", 1, 8),
                ("missing.0", OptionKind::Text, "", 2, 12),
                ("missing.1", OptionKind::Text, "NA", 2, 16),
                ("keep.\"Kind \\\"a\\\" 1.5\"", OptionKind::Text, "LIGHT", 5, 20),
                ("columns.time.from.0", OptionKind::Text, "Datum", 8, 18),
                ("columns.time.from.1", OptionKind::Text, "Zeit", 8, 27),
                ("value.0.y", OptionKind::Float, "20.0", 11, 5),
                ("value.0.none", OptionKind::Empty, "", 12, 8),
                ("value.0.when", OptionKind::Date, "2026-03-01", 13, 8),
            ]
        );
        assert_eq!(sheet.close().2, []);
    }
}
