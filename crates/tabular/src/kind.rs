//! Kinds of files, and what an importer knows of its kind beside the keeper's layout.

use crate::layout::{From, Layout, Spec, column, time_format};
use undim_sdk::{Failure, OptionItem, OptionKind};

/// What kind of text a table is read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Kind {
    /// As it stands in the file: delimiter, quotes and header are found out.
    #[default]
    Delimited,
    /// Cells of a sheet, put into lines by [`Cells`](crate::Cells): line numbers are the sheet's.
    Sheet,
    /// Records without a header of their own, put into lines by [`Cells`](crate::Cells), the names first: the first
    /// record is line 1.
    Records,
    /// Lines of cells below a header block that tells names and units: line numbers are the file's.
    Block,
}

impl Kind {
    /// Refuses what serves other kinds of files only.
    pub(crate) fn allows(self, keys: &[&str], item: &OptionItem) -> Result<(), Failure> {
        let key = keys.first().copied().unwrap_or_default();
        let text = match (self, key) {
            (Kind::Delimited | Kind::Records | Kind::Block, "sheet") => "this serves spreadsheets only",
            (Kind::Delimited | Kind::Sheet | Kind::Block, "records") => "this serves JSON only",
            (
                Kind::Sheet | Kind::Records | Kind::Block,
                "encoding" | "delimiter" | "quote" | "until" | "table",
            ) => "this serves delimited text only",
            (Kind::Block, "skip" | "skip_to" | "header" | "units_row" | "comment") => {
                "the file's own header tells this"
            }
            (
                Kind::Records,
                "skip" | "skip_to" | "skip_end" | "header" | "units_row" | "comment" | "head",
            ) => "records have no lines above them: this serves tables only",
            _ => return Ok(()),
        };
        Err(Failure::option(item.index, text))
    }
}

/// What an importer knows of its kind of file; what the layout says goes before.
impl Layout {
    /// Which sheet, or where the records are, as the layout says it: the text, with its option's index.
    pub fn part(&self) -> Option<(&str, u32)> {
        self.part.as_ref().map(|(text, index)| (text.as_str(), *index))
    }

    /// Numbers of days in this file count from 1904 rather than 1900.
    pub fn count_days_from_1904(&mut self) {
        self.epoch_1904 = true;
    }

    /// Says on which line the names stand; the line below holds the units.
    pub fn names_at(&mut self, line: u64) {
        self.skip = Some(line.saturating_sub(1));
        self.header = Some(1);
        self.units_row = Some(true);
    }

    /// Says how many columns the importer adds to those of the file's lines.
    pub fn adds_columns(&mut self, count: usize) {
        self.added_columns = count;
    }

    /// Says the value's unit; what the layout says goes before.
    pub fn usual_unit(&mut self, unit: &str) {
        let Some(spec) = column("value").and_then(|at| self.columns[at].as_mut()) else {
            return;
        };
        if spec.unit.is_none() {
            spec.unit = Some((unit.to_owned(), undim_sdk::abi::NO_OPTION));
        }
    }

    /// Says that a column is none of the usual ones, whatever its name; a layout can still name it.
    pub fn means_nothing(&mut self, title: &str) {
        self.meaningless.push(title.to_owned());
    }

    /// True where the layout says which column or which rows are the readings of light.
    pub fn tells_value(&self) -> bool {
        self.spec("value").is_some_and(|spec| !spec.from.is_empty())
            || !self.values.is_empty()
            || !self.keep.is_empty()
    }

    /// Says where a column comes from, as the kind of file has it; what the layout says goes before.
    /// `format` is one of the layouts' own words for a time.
    pub fn usually(&mut self, name: &str, from: &str, format: Option<&str>) {
        let Some(at) = column(name) else { return };
        let stated = self.columns[at]
            .as_ref()
            .is_some_and(|spec| !spec.from.is_empty());
        let is_value = name == "value" && !self.values.is_empty();
        if stated || self.constants[at].is_some() || is_value {
            return;
        }
        let item = OptionItem {
            path: "",
            kind: OptionKind::Text,
            text: format.unwrap_or_default(),
            index: undim_sdk::abi::NO_OPTION,
        };
        let spec = self.columns[at].get_or_insert_with(|| Spec {
            index: item.index,
            is_usual: true,
            ..Spec::default()
        });
        spec.from = vec![(From::Header(from.to_owned()), item.index)];
        if spec.format.is_none() && format.is_some() {
            spec.format = time_format(&item).ok();
        }
    }

    /// The column names that the layout asks for.
    pub fn wanted(&self) -> impl Iterator<Item = &str> {
        self.wanted_names().filter_map(|from| match from {
            From::Header(name) => Some(name.as_str()),
            _ => None,
        })
    }
}
