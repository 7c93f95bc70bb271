//! How a row's values and their unit come about.

use super::Decider;
use crate::layout::{Spec, column};
use crate::number::Marks;
use crate::plan::{NumberFrom, Part, ValueFrom};
use crate::sniff::moments::title;
use crate::sniff::roles::Roles;
use crate::sniff::{Trouble, header, numbers};
use crate::{names, units};
use undim_sdk::Failure;

impl Decider<'_> {
    pub(super) fn values(&mut self, roles: &Roles) -> Result<Vec<ValueFrom>, Trouble> {
        let layout = self.layout;
        if !layout.values.is_empty() {
            return layout.values.iter().map(|spec| self.stated_value(spec)).collect();
        }
        match (layout.spec("value"), roles.value) {
            (Some(spec), _) if !spec.from.is_empty() => Ok(vec![self.stated_value(spec)?]),
            (spec, Some(at)) => {
                let stated = spec.and_then(|spec| spec.unit.clone());
                let unit = self.value_unit(at, stated.as_ref(), roles.unit.is_some())?;
                let mut number = self.found_number("value", at, unit.as_deref())?;
                number.times = spec.and_then(|spec| spec.times).unwrap_or(1.0);
                self.plausible(&number, at, unit.as_deref())?;
                Ok(vec![ValueFrom::new(number, unit)])
            }
            _ => Err(Failure::unusable(0, 0, "the layout names no value column").into()),
        }
    }

    pub(super) fn stated_value(&mut self, spec: &Spec) -> Result<ValueFrom, Trouble> {
        let cells = self.cells(spec)?;
        self.tell_column("value", &cells, true);
        let unit = match cells.parts.as_slice() {
            [Part::Column(at)] => {
                let has_column = self.layout.spec("unit").is_some();
                let fixed = column("unit")
                    .and_then(|at| spec.constants[at].as_ref())
                    .map(|constant| (constant.text.clone(), constant.index));
                self.value_unit(*at, spec.unit.as_ref().or(fixed.as_ref()), has_column)?
            }
            _ => spec.unit.as_ref().map(|(unit, _)| ucum(unit)),
        };
        let number = self.stated_number(spec, unit.as_deref())?;
        let mut value = ValueFrom::new(number, unit);
        for (at, constant) in spec.constants.iter().enumerate() {
            let Some(constant) = constant else { continue };
            let text = || Some(constant.text.clone());
            match crate::layout::COLUMNS[at] {
                "x" => value.places[0] = Some(fixed(&constant.text, constant.index)?),
                "y" => value.places[1] = Some(fixed(&constant.text, constant.index)?),
                "z" => value.places[2] = Some(fixed(&constant.text, constant.index)?),
                "tilt" => value.tilt = Some(fixed(&constant.text, constant.index)?),
                "temperature" => value.temperature = Some(fixed(&constant.text, constant.index)?),
                "station" => value.station = text(),
                "device" => value.device = text(),
                "remark" => value.remark = text(),
                "unit" => {}
                other => {
                    return Err(Failure::option(
                        constant.index,
                        format!("a value column can't fix `{other}`"),
                    )
                    .into());
                }
            }
        }
        Ok(value)
    }

    /// The value's unit: layout, header or units row, preamble; a header PPFD means µmol m⁻² s⁻¹.
    pub(super) fn value_unit(
        &mut self,
        at: usize,
        stated: Option<&(String, u32)>,
        has_column: bool,
    ) -> Result<Option<String>, Trouble> {
        if let Some((unit, _)) = stated {
            let unit = ucum(unit);
            self.tell(false, "unit", unit.clone());
            return Ok(Some(unit));
        }
        // A column of units stands above the header; rows without one are the device's.
        if has_column || self.constant("unit").is_some() {
            let fixed = self.constant("unit").map(ucum);
            if let Some(unit) = fixed.clone() {
                self.tell(false, "unit", unit);
            }
            return Ok(fixed);
        }
        let named = self.named.get(at).and_then(Option::as_ref);
        let (is_ppfd, title_words) = (
            named.is_some_and(|named| named.is_ppfd),
            names::words(self.titles.get(at).map_or("", String::as_str)),
        );
        let text = self.unit_text(at).or_else(|| {
            self.sample
                .columns
                .get(at)
                .and_then(|column| column.suffix.clone())
        });
        if let Some(text) = text {
            if let Some(unit) = units::light(&text) {
                self.tell(false, "unit", unit);
                return Ok(Some(unit.to_owned()));
            }
            if units::looks_like_one(&text) || units::is_any(&text) {
                let choices = ["umol.m-2.s-1", "lx", "W.m-2", "mV"]
                    .map(|unit| format!("columns.value.unit = \"{unit}\""));
                let question = format!(
                    "{} is in \"{text}\", a unit that is not known here; which is it?",
                    title(&[at], &self.titles)
                );
                return Err(Failure::question(question, choices).into());
            }
        }
        if is_ppfd {
            self.tell(true, "unit", "umol.m-2.s-1");
            return Ok(Some("umol.m-2.s-1".to_owned()));
        }
        if let Some(unit) = self.preamble_unit() {
            self.tell(true, "unit", unit);
            return Ok(Some(unit.to_owned()));
        }
        // Illuminance is in lux by definition (CIE S 017, 17-21-060, from memory).
        let illuminance = [
            "illuminance",
            "beleuchtungsstarke",
            "iluminancia",
            "illuminamento",
            "eclairement",
            "verlichtingssterkte",
            "belysningsstyrke",
            "belysningsstyrka",
            "osvetleni",
            "\u{7167}\u{5ea6}",
            "\u{5149}\u{7167}\u{5ea6}",
        ];
        if title_words
            .iter()
            .any(|word| illuminance.contains(&word.as_str()))
        {
            self.tell(true, "unit", "lx");
            return Ok(Some("lx".to_owned()));
        }
        Ok(None)
    }

    /// A unit that a line above the header states.
    pub(super) fn preamble_unit(&self) -> Option<&'static str> {
        let mut found = None;
        for row in &self.table.preamble {
            let mut pieces: Vec<&str> = row
                .cells
                .iter()
                .flat_map(|cell| cell.split([':', '=']))
                .map(|piece| header::bare(piece).trim())
                .collect();
            pieces.retain(|piece| !piece.is_empty());
            let [key, value, ..] = pieces.as_slice() else {
                continue;
            };
            let key = names::words(key).join(" ");
            let is_unit = [
                "unit",
                "units",
                "einheit",
                "unite",
                "unites",
                "unidad",
                "unidades",
                "unita",
                "eenheid",
                "jednostka",
                "enhed",
                "enhet",
                "jednotka",
                "par unit",
                "light unit",
                "par units",
                "measurement unit",
                "masseinheit",
                "\u{5358}\u{4f4d}",
                "\u{5355}\u{4f4d}",
            ];
            if is_unit.contains(&key.as_str())
                && let Some(unit) = units::light(value)
            {
                if found.is_some_and(|known| known != unit) {
                    return None;
                }
                found = Some(unit);
            }
        }
        found
    }

    /// Readings far outside what the unit allows are no readings in that unit.
    pub(super) fn plausible(
        &self,
        number: &NumberFrom,
        at: usize,
        unit: Option<&str>,
    ) -> Result<(), Trouble> {
        let Some(most) = unit.and_then(numbers::most) else {
            return Ok(());
        };
        let marks = number.marks.get().unwrap_or(Marks::POINT);
        let column = &self.sample.columns[at];
        let values: Vec<(f64, &(String, u64))> = column
            .distinct
            .iter()
            .filter_map(|entry| {
                let cell = number
                    .suffix
                    .as_deref()
                    .and_then(|suffix| entry.0.strip_suffix(suffix))
                    .unwrap_or(&entry.0);
                Some((crate::number::parse(cell.trim(), marks)? * number.times, entry))
            })
            .collect();
        let outside: Vec<_> = values
            .iter()
            .filter(|(value, _)| *value > most || *value < -most / 20.0)
            .collect();
        if outside.len() * 2 <= values.len() {
            return Ok(());
        }
        let (cell, line) = outside
            .first()
            .map(|(_, entry)| (entry.0.as_str(), entry.1))
            .unwrap_or_default();
        let unit = unit.unwrap_or_default();
        Err(Failure::question(
            format!("{} holds \"{cell}\" (line {line}), which can't be {unit}; which unit is it, or which column is meant?", title(&[at], &self.titles)),
            ["lx", "mV", "1"].map(|unit| format!("columns.value.unit = \"{unit}\"")),
        )
        .into())
    }
}

/// A unit as a layout gives it: a UCUM code, or a usual spelling of one.
pub(super) fn ucum(unit: &str) -> String {
    units::light(unit).map_or_else(|| unit.trim().to_owned(), str::to_owned)
}

pub(super) fn fixed(text: &str, index: u32) -> Result<f64, Failure> {
    let value = text.trim().parse().ok().filter(|value: &f64| value.is_finite());
    value.ok_or_else(|| Failure::option(index, format!("`{text}` is no number")))
}
