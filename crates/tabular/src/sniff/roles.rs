//! Deciding which column is which by name and content, or asking.

use super::Trouble;
use super::moments::{ask_which, choice, title};
use super::sample::{Column, Sample};
use crate::names::{Named, Role, Strength};
use crate::units;
use undim_sdk::Failure;

/// The columns a row is made of, time apart.
#[derive(Debug, Default, Clone)]
pub(crate) struct Roles {
    pub(crate) value: Option<usize>,
    pub(crate) places: [Option<usize>; 3],
    pub(crate) station: Option<usize>,
    pub(crate) device: Option<usize>,
    pub(crate) unit: Option<usize>,
    pub(crate) tilt: Option<usize>,
    pub(crate) temperature: Option<usize>,
    pub(crate) remark: Option<usize>,
    /// What was left out on purpose: column and sentence.
    pub(crate) left_out: Vec<(usize, String)>,
}

/// What a layout settles.
#[derive(Debug, Default, Clone)]
pub(crate) struct Settled {
    /// These are not looked for.
    pub(crate) roles: Vec<Role>,
    /// The layout names columns: what it leaves out is taken where it is clear and never asked for.
    pub(crate) ask_less: bool,
    /// The layout says which rows are readings.
    pub(crate) keeps_rows: bool,
    /// Where value and unit stand in this kind of file, whatever they are called.
    pub(crate) usual: [Option<usize>; 2],
}

impl Settled {
    fn is_open(&self, role: Role) -> bool {
        !self.roles.contains(&role)
    }
}

struct Finder<'a> {
    sample: &'a Sample,
    named: &'a [Option<Named>],
    titles: &'a [String],
    /// Columns that a layout or the time has taken.
    taken: &'a [usize],
}

/// Finds the columns.
pub(crate) fn find(
    sample: &Sample,
    named: &[Option<Named>],
    titles: &[String],
    taken: &[usize],
    settled: &Settled,
) -> Result<Roles, Trouble> {
    let finder = Finder {
        sample,
        named,
        titles,
        taken,
    };
    let mut roles = Roles::default();
    if settled.is_open(Role::Value) {
        roles.value = Some(finder.value()?);
    }
    for (at, role) in [Role::X, Role::Y, Role::Z].into_iter().enumerate() {
        if settled.is_open(role) {
            roles.places[at] = finder.one(role, ["x", "y", "z"][at], settled.ask_less, &|column| {
                column.is_numeric()
            })?;
        }
    }
    if !settled.ask_less {
        finder.vertical(&roles)?;
    }
    if settled.is_open(Role::Station) {
        // Decimals are a place along some axis, not a name.
        let is_name = |column: &Column| !(column.is_numeric() && column.has_decimals());
        roles.station = finder.one(Role::Station, "station", settled.ask_less, &is_name)?;
    }
    if settled.is_open(Role::Device) {
        let is_name = |column: &Column| !(column.is_numeric() && column.has_decimals());
        roles.device = finder.one(Role::Device, "device", settled.ask_less, &is_name)?;
    }
    if settled.is_open(Role::Unit) {
        // A number is no unit, but for UCUM's 1, which is that of counts.
        let is_unit =
            |column: &Column| !column.is_numeric() || column.distinct.iter().all(|(cell, _)| cell == "1");
        roles.unit = finder.one(Role::Unit, "unit", settled.ask_less, &is_unit)?;
    }
    if settled.is_open(Role::Tilt) {
        roles.tilt = finder.spare(Role::Tilt, &mut roles.left_out);
    }
    if settled.is_open(Role::Temperature) {
        roles.temperature = finder.spare(Role::Temperature, &mut roles.left_out);
    }
    if settled.is_open(Role::Remark) {
        roles.remark = finder.all(Role::Remark).first().copied();
    }
    let [value, unit] = settled.usual;
    if (settled.is_open(Role::Value) || value.is_some()) && !settled.keeps_rows {
        let all = Roles {
            value: roles.value.or(value),
            unit: roles.unit.or(unit),
            ..roles.clone()
        };
        finder.one_quantity(&all)?;
    }
    Ok(roles)
}

impl Finder<'_> {
    fn all(&self, role: Role) -> Vec<usize> {
        (0..self.named.len())
            .filter(|at| {
                !self.taken.contains(at) && self.named[*at].as_ref().is_some_and(|named| named.role == role)
            })
            .collect()
    }

    fn column(&self, at: usize) -> &Column {
        &self.sample.columns[at]
    }

    fn strength(&self, at: usize) -> Strength {
        self.named[at]
            .as_ref()
            .map_or(Strength::Contains, |named| named.strength)
    }

    fn is_light(&self, at: usize) -> bool {
        // A light column in per cent or degrees is no reading of light.
        self.column(at).is_numeric()
            && self.named[at].as_ref().is_some_and(|named| {
                named
                    .unit
                    .as_deref()
                    .is_none_or(|unit| units::light(unit).is_some() || !units::is_any(unit))
            })
    }

    /// The one value column.
    fn value(&self) -> Result<usize, Trouble> {
        let named = self.all(Role::Value);
        let counts = |at: &usize| self.strength(*at) == Strength::Weak && self.column(*at).counts_up();
        let usable: Vec<usize> = named
            .iter()
            .copied()
            .filter(|at| self.is_light(*at) && !counts(at))
            .collect();
        let lights: Vec<usize> = usable
            .iter()
            .copied()
            .filter(|at| self.strength(*at) != Strength::Weak)
            .collect();
        match (lights.as_slice(), usable.as_slice()) {
            ([one], _) | ([], [one]) => return Ok(*one),
            ([], []) => {}
            ([], several) | (several, _) => return Err(ask_which("value", several, self.titles)),
        }
        if let Some(at) = named
            .iter()
            .copied()
            .find(|at| self.column(*at).filled > 0 && !counts(at))
        {
            let (cell, line) = self.column(at).first();
            return Err(Failure::unusable(
                line,
                at as u32 + 1,
                format!(
                    "{} should hold light readings, but \"{cell}\" is none; name the right column in a layout",
                    title(&[at], self.titles)
                ),
            )
            .into());
        }
        if let Some(at) = named.first().filter(|at| !counts(at)) {
            return Err(Failure::unusable(
                0,
                *at as u32 + 1,
                format!(
                    "{} is empty: this file holds no readings",
                    title(&[*at], self.titles)
                ),
            )
            .into());
        }
        let numeric: Vec<usize> = (0..self.named.len())
            .filter(|at| !self.taken.contains(at) && self.column(*at).is_numeric())
            .filter(|at| {
                !matches!(
                    self.named[*at].as_ref().map(|named| named.role),
                    Some(
                        Role::X
                            | Role::Y
                            | Role::Z
                            | Role::Tilt
                            | Role::Temperature
                            | Role::Counter
                            | Role::Part(_)
                    )
                )
            })
            .collect();
        let shown: Vec<String> = (0..self.named.len())
            .map(|at| format!("{} ({})", title(&[at], self.titles), self.column(at).first().0))
            .collect();
        Err(Failure::question(
            format!(
                "which column holds the light readings? None has a name known here: {}",
                shown.join(", ")
            ),
            numeric.iter().map(|at| choice("value", *at, self.titles)),
        )
        .into())
    }

    /// The one column of a role: the surest name wins, two as sure are asked.
    fn one(
        &self,
        role: Role,
        name: &str,
        ask_less: bool,
        fits: &dyn Fn(&Column) -> bool,
    ) -> Result<Option<usize>, Trouble> {
        let mut found: Vec<usize> = self
            .all(role)
            .into_iter()
            .filter(|at| self.column(*at).filled > 0 && fits(self.column(*at)))
            .collect();
        let best = found.iter().map(|at| self.strength(*at)).max();
        found.retain(|at| Some(self.strength(*at)) == best);
        match found.as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(*one)),
            _ if ask_less => Ok(None),
            several => Err(ask_which(name, several, self.titles)),
        }
    }

    /// A column that is taken where there is one of it, and otherwise left out and said.
    fn spare(&self, role: Role, left_out: &mut Vec<(usize, String)>) -> Option<usize> {
        let mut found: Vec<usize> = self
            .all(role)
            .into_iter()
            .filter(|at| self.column(*at).is_numeric())
            .collect();
        let best = found.iter().map(|at| self.strength(*at)).max();
        found.retain(|at| Some(self.strength(*at)) == best);
        match found.as_slice() {
            [one] => Some(*one),
            [first, ..] => {
                left_out.push((
                    *first,
                    format!("{} are alike; none of them was read", title(&found, self.titles)),
                ));
                None
            }
            [] => None,
        }
    }

    /// A depth or height is a place along an axis that only the keeper knows.
    fn vertical(&self, roles: &Roles) -> Result<(), Trouble> {
        if roles.places.iter().all(Option::is_some) {
            return Ok(());
        }
        let places = self
            .all(Role::Station)
            .into_iter()
            .filter(|at| self.column(*at).has_decimals());
        let found = self
            .all(Role::Vertical)
            .into_iter()
            .chain(places)
            .find(|at| self.column(*at).is_numeric());
        let Some(at) = found else { return Ok(()) };
        let mut choices: Vec<String> = ["x", "y", "z"]
            .iter()
            .zip(roles.places)
            .filter(|(_, taken)| taken.is_none())
            .map(|(axis, _)| choice(axis, at, self.titles))
            .collect();
        if let Some(value) = roles.value {
            choices.push(format!(
                "{}  # and leave {} out",
                choice("value", value, self.titles),
                title(&[at], self.titles)
            ));
        }
        Err(Failure::question(
            format!(
                "{} tells a place, but not along which axis; which of x, y and z of the route's frame is it?",
                title(&[at], self.titles)
            ),
            choices,
        )
        .into())
    }

    /// Rows of several quantities in one value column are not all light.
    fn one_quantity(&self, roles: &Roles) -> Result<(), Trouble> {
        let Some(value) = roles.value else { return Ok(()) };
        if let Some(unit) = roles.unit {
            let column = self.column(unit);
            let strange = column
                .distinct
                .iter()
                .find(|(cell, _)| units::light(cell).is_none());
            let light = column
                .distinct
                .iter()
                .any(|(cell, _)| units::light(cell).is_some());
            // A row that tells its place is a reading of light, in a unit that only a correction can turn.
            let has_place = roles.station.is_some() || roles.places.iter().any(Option::is_some);
            if let Some((cell, line)) = strange.filter(|_| light || !has_place) {
                if !light {
                    return Err(Failure::question(
                        format!(
                            "{} holds \"{cell}\" (line {line}), which is no unit of light known here; is {} a reading of light all the same?",
                            title(&[unit], self.titles),
                            title(&[value], self.titles)
                        ),
                        [
                            format!("constants.unit = \"umol.m-2.s-1\"  # {} is PPFD", title(&[value], self.titles)),
                            choice("value", value, self.titles),
                        ],
                    )
                    .into());
                }
                return Err(Failure::question(
                    format!(
                        "{} holds \"{cell}\" (line {line}): not every row is a reading of light; which rows are?",
                        title(&[unit], self.titles)
                    ),
                    column.distinct.iter().filter(|(cell, _)| units::light(cell).is_some()).map(|(cell, _)| self.keep(unit, cell)),
                )
                .into());
            }
        }
        if self.strength(value) != Strength::Weak {
            return Ok(());
        }
        self.speaks_of_light(value, roles)?;
        for at in 0..self.named.len() {
            let kinds = [
                "parameter",
                "variable",
                "type",
                "quantity",
                "typ",
                "tipo",
                "messgrosse",
                "grosse",
                "parametro",
                "parametre",
                "magnitud",
                "grandeur",
                "kind",
                "measurand",
                "analyte",
                "channel",
                "kanal",
                "channel name",
                "sensor type",
            ];
            let name = crate::names::words(self.titles.get(at).map_or("", String::as_str)).join(" ");
            let column = self.column(at);
            if kinds.contains(&name.as_str()) && !column.is_numeric() && column.distinct.len() > 1 {
                return Err(Failure::question(
                    format!(
                        "{} holds several kinds of rows; which of them are readings of light?",
                        title(&[at], self.titles)
                    ),
                    column.distinct.iter().map(|(cell, _)| self.keep(at, cell)),
                )
                .into());
            }
        }
        Ok(())
    }

    /// A column called no more than `value`, without a time, a place, a unit or a name beside it, may be anything.
    fn speaks_of_light(&self, value: usize, roles: &Roles) -> Result<(), Trouble> {
        let has_unit = self.named[value]
            .as_ref()
            .is_some_and(|named| named.unit.is_some())
            || self.column(value).suffix.is_some();
        let others = [roles.station, roles.device, roles.unit, roles.tilt];
        let has_company = !self.taken.is_empty() || roles.places.iter().chain(&others).any(Option::is_some);
        // Other columns of names we don't know are what makes it doubtful.
        if has_unit || has_company || self.named.len() == 1 {
            return Ok(());
        }
        Err(Failure::question(
            format!(
                "is {} a reading of light? Nothing else in the file speaks of light, a time or a place",
                title(&[value], self.titles)
            ),
            [choice("value", value, self.titles)],
        )
        .into())
    }

    fn keep(&self, at: usize, cell: &str) -> String {
        let name = self
            .titles
            .get(at)
            .map_or("", String::as_str)
            .replace('"', "\\\"");
        format!("keep.\"{name}\" = \"{}\"", cell.replace('"', "\\\""))
    }
}
