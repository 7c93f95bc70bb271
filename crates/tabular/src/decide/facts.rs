//! What is told about a file: how it was read, and what was assumed.

use super::Decider;
use crate::datetime::order::Order;
use crate::kind::Kind;
use crate::plan::{Cells, Fact, NumberFrom, Part, ValueFrom};
use crate::sniff::moments::Timing;

impl Decider<'_> {
    pub(super) fn tell(&mut self, assumed: bool, key: &str, value: impl Into<String>) {
        self.facts.push(Fact {
            key: key.to_owned(),
            value: value.into(),
            assumed,
        });
    }

    pub(super) fn tell_dialect(&mut self) {
        if self.layout.kind == Kind::Delimited {
            self.tell_marks();
        }
        if matches!(self.layout.kind, Kind::Delimited | Kind::Sheet) {
            let stated =
                self.layout.skip.is_some() || self.layout.skip_to.is_some() || self.layout.header == Some(0);
            self.tell(!stated, "header_line", self.table.header_line.to_string());
        }
        if let Some(by) = self.layout.described_by.clone() {
            self.tell(false, "described_by", by);
        }
        if let Some(zone) = self.layout.timezone.clone() {
            self.tell(false, "timezone", zone);
        }
    }

    fn tell_marks(&mut self) {
        let delimiter = match self.layout.wide_delimiter {
            Some(wide) => wide.to_string(),
            None => self.splitter.delimiter.name(),
        };
        self.tell(self.layout.delimiter.is_none(), "delimiter", delimiter);
        if let Some(quote) = self.splitter.quote {
            self.tell(self.layout.quote.is_none(), "quote", char::from(quote));
        }
    }

    pub(super) fn tell_decimal(&mut self, values: &[ValueFrom], places: &[Option<NumberFrom>]) {
        let marks = values
            .iter()
            .map(|value| &value.number)
            .chain(places.iter().flatten())
            .find_map(|number| number.marks.get());
        if let Some(marks) = marks {
            self.tell(
                self.layout.marks().is_none(),
                "decimal",
                char::from(marks.decimal),
            );
        }
    }

    /// Where the readings' own column is not known: the mark that the file's numbers share.
    pub(super) fn tell_decimal_of_the_file(&mut self) {
        if self.facts.iter().any(|fact| fact.key == "decimal") {
            return;
        }
        let stated = self.layout.marks();
        let shared = || self.sample.shared_marks(self.splitter.delimiter);
        if let Some(marks) = stated.or_else(shared) {
            self.tell(stated.is_none(), "decimal", char::from(marks.decimal));
        }
    }

    /// Says which part of the dates comes first; a year of four digits in front says so itself.
    pub(super) fn tell_order(&mut self, timing: &Timing) {
        if timing.order_assumed || matches!(timing.order, Order::DayFirst | Order::MonthFirst) {
            self.tell(timing.order_assumed, "date_order", timing.order.words());
        }
    }

    pub(super) fn tell_column(&mut self, name: &str, cells: &Cells, stated: bool) {
        let shown: Vec<String> = cells
            .parts
            .iter()
            .map(|part| match part {
                Part::Column(at) => match self.titles.get(*at).filter(|name| !name.is_empty()) {
                    Some(name) => name.clone(),
                    None => format!("column {}", at + 1),
                },
                Part::Fixed(text) => format!("\"{text}\""),
            })
            .collect();
        self.tell(!stated, &format!("columns.{name}"), shown.join(" + "));
    }
}
