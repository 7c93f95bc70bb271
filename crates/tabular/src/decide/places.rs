//! How places, tilt and temperature come about, and what the marks in their numbers mean.

use super::Decider;
use super::values::fixed;
use crate::layout::{Spec, column};
use crate::number::Marks;
use crate::plan::{Cells, NumberFrom, Part};
use crate::sniff::moments::title;
use crate::sniff::numbers::Asked;
use crate::sniff::roles::Roles;
use crate::sniff::{Trouble, numbers};
use crate::units;
use std::cell::Cell;
use undim_sdk::Failure;

impl Decider<'_> {
    /// A number from a column that was found by its name.
    pub(super) fn found_number(
        &mut self,
        name: &str,
        at: usize,
        unit: Option<&str>,
    ) -> Result<NumberFrom, Trouble> {
        let cells = Cells::column(at);
        self.tell_column(name, &cells, false);
        self.number(cells, at, unit)
    }

    pub(super) fn number(
        &mut self,
        cells: Cells,
        at: usize,
        unit: Option<&str>,
    ) -> Result<NumberFrom, Trouble> {
        let mut number = NumberFrom::new(cells);
        let asked = Asked {
            column: at,
            title: title(&[at], &self.titles),
            most: unit.and_then(numbers::most),
            unit,
        };
        number.marks.set(numbers::decide(
            &self.sample,
            &asked,
            self.layout.marks(),
            self.splitter.delimiter,
        )?);
        number.marks_assumed = self.layout.marks().is_none() && !self.whole;
        number.suffix = self
            .sample
            .columns
            .get(at)
            .and_then(|column| column.suffix.clone());
        Ok(number)
    }

    /// A number as a layout says: from a column, the preamble, or picked.
    pub(super) fn stated_number(&mut self, spec: &Spec, unit: Option<&str>) -> Result<NumberFrom, Trouble> {
        let cells = self.cells(spec)?;
        let mut number = match cells.parts.as_slice() {
            [Part::Column(at)] if cells.pick.is_none() => {
                let at = *at;
                self.number(cells, at, unit)?
            }
            _ => NumberFrom {
                marks: Cell::new(self.layout.marks()),
                ..NumberFrom::new(cells)
            },
        };
        number.times = spec.times.unwrap_or(1.0);
        Ok(number)
    }

    pub(super) fn fixed_number(&self, name: &str) -> Result<Option<f64>, Failure> {
        let Some(constant) = column(name).and_then(|at| self.layout.constants[at].as_ref()) else {
            return Ok(None);
        };
        fixed(&constant.text, constant.index).map(Some)
    }

    pub(super) fn place(&mut self, axis: usize, roles: &Roles) -> Result<Option<NumberFrom>, Trouble> {
        let name = ["x", "y", "z"][axis];
        if let Some(value) = self.fixed_number(name)? {
            return Ok(Some(NumberFrom::fixed(value)));
        }
        let layout = self.layout;
        let (mut number, unit, stated, at) = match (layout.spec(name), roles.places[axis]) {
            (Some(spec), _) => {
                let cells = self.cells(spec)?;
                self.tell_column(name, &cells, true);
                let at = match cells.parts.as_slice() {
                    [Part::Column(at)] => Some(*at),
                    _ => None,
                };
                let own = at.and_then(|at| self.unit_text(at));
                let unit = spec.unit.as_ref().map(|(unit, _)| unit.clone()).or(own);
                if let Some((unit, index)) = &spec.unit
                    && units::length(unit).is_none()
                {
                    return Err(Failure::option(*index, "the unit of a place is mm, cm, m or in").into());
                }
                let known = unit.as_deref().and_then(units::length);
                (
                    self.stated_number(spec, known.map(|(unit, _)| unit))?,
                    unit,
                    spec.unit.is_some(),
                    at,
                )
            }
            (None, Some(at)) => {
                let unit = self.unit_text(at);
                let known = unit.as_deref().and_then(units::length);
                (
                    self.found_number(name, at, known.map(|(unit, _)| unit))?,
                    unit,
                    true,
                    Some(at),
                )
            }
            (None, None) => return Ok(None),
        };
        let unit = unit.or_else(|| at.and_then(|at| self.sample.columns[at].suffix.clone()));
        match unit.as_deref().map(units::length) {
            Some(Some((unit, factor))) => {
                number.times *= factor;
                self.tell(!stated, &format!("unit.{name}"), unit);
            }
            Some(None) => {
                let text = format!(
                    "the unit \"{}\" of {name} is not known; mm, cm, m or in are",
                    unit.unwrap_or_default()
                );
                return Err(Failure::question(
                    text,
                    ["mm", "cm", "m", "in"].map(|unit| format!("columns.{name}.unit = \"{unit}\"")),
                )
                .into());
            }
            None => {}
        }
        Ok(Some(number))
    }

    /// The unit in a column's header or in the units row.
    pub(super) fn unit_text(&self, at: usize) -> Option<String> {
        let named = self.named.get(at)?.as_ref();
        let own = named.and_then(|named| named.unit.clone());
        own.or_else(|| self.table.units.get(at).filter(|unit| !unit.is_empty()).cloned())
    }

    pub(super) fn angle(&mut self, roles: &Roles) -> Result<Option<NumberFrom>, Trouble> {
        if let Some(value) = self.fixed_number("tilt")? {
            return Ok(Some(NumberFrom::fixed(value)));
        }
        let layout = self.layout;
        let (mut number, unit, at) = match (layout.spec("tilt"), roles.tilt) {
            (Some(spec), _) => {
                let number = self.stated_number(spec, None)?;
                self.tell_column("tilt", &number.cells.clone(), true);
                (number, spec.unit.as_ref().map(|(unit, _)| unit.clone()), None)
            }
            (None, Some(at)) => (self.found_number("tilt", at, None)?, self.unit_text(at), Some(at)),
            (None, None) => return Ok(None),
        };
        number.times *= unit.as_deref().and_then(units::angle).unwrap_or(1.0);
        Ok(self.in_range(number, at, -360.0..=360.0, "degrees"))
    }

    pub(super) fn temperature(&mut self, roles: &Roles) -> Result<Option<NumberFrom>, Trouble> {
        if let Some(value) = self.fixed_number("temperature")? {
            return Ok(Some(NumberFrom::fixed(value)));
        }
        let layout = self.layout;
        let (mut number, unit, at) = match (layout.spec("temperature"), roles.temperature) {
            (Some(spec), _) => {
                let number = self.stated_number(spec, None)?;
                self.tell_column("temperature", &number.cells.clone(), true);
                (number, spec.unit.as_ref().map(|(unit, _)| unit.clone()), None)
            }
            (None, Some(at)) => (
                self.found_number("temperature", at, None)?,
                self.unit_text(at),
                Some(at),
            ),
            (None, None) => return Ok(None),
        };
        if let Some(scale) = unit.as_deref().and_then(units::temperature) {
            number.plus = scale.to_celsius(0.0);
            number.times *= scale.to_celsius(1.0) - number.plus;
        }
        Ok(self.in_range(number, at, -60.0..=150.0, "°C"))
    }

    /// A column must hold what its name says: otherwise it is left out, and that is said.
    pub(super) fn in_range(
        &mut self,
        number: NumberFrom,
        at: Option<usize>,
        range: std::ops::RangeInclusive<f64>,
        unit: &str,
    ) -> Option<NumberFrom> {
        let Some(at) = at else { return Some(number) };
        let marks = number.marks.get().unwrap_or(Marks::POINT);
        let outside = self.sample.columns[at].distinct.iter().find(|(cell, _)| {
            let cell = number
                .suffix
                .as_deref()
                .and_then(|suffix| cell.strip_suffix(suffix))
                .unwrap_or(cell);
            crate::number::parse(cell.trim(), marks)
                .is_some_and(|value| !range.contains(&(value * number.times + number.plus)))
        });
        let Some((cell, line)) = outside else {
            return Some(number);
        };
        let text = format!(
            "{} holds \"{cell}\", which can't be {unit}; the column was left out",
            title(&[at], &self.titles)
        );
        self.problems.push((*line, at as u32 + 1, text));
        None
    }
}
