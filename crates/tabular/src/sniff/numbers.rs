//! Deciding what the marks in numbers mean, column by column, or asking.

use super::Trouble;
use super::sample::Sample;
use crate::lines::Delimiter;
use crate::number::Marks;
use undim_sdk::Failure;

/// What is known about a column beside its cells.
#[derive(Debug, Clone)]
pub(crate) struct Asked<'a> {
    pub(crate) column: usize,
    /// For the question.
    pub(crate) title: String,
    /// Beyond this a number can't be meant.
    pub(crate) most: Option<f64>,
    pub(crate) unit: Option<&'a str>,
}

/// The marks of a column; `None` where no cell has any and the rest of the file tells nothing.
pub(crate) fn decide(
    sample: &Sample,
    asked: &Asked,
    stated: Option<Marks>,
    delimiter: Delimiter,
) -> Result<Option<Marks>, Trouble> {
    if stated.is_some() {
        return Ok(stated);
    }
    let Some(column) = sample.columns.get(asked.column) else {
        return Ok(None);
    };
    let evidence = &column.evidence;
    if evidence.contradicts_itself() {
        let text = format!(
            "{} has decimal points (line {}) and decimal commas (line {}); which is right?",
            asked.title,
            evidence.point.unwrap_or(0),
            evidence.comma.unwrap_or(0)
        );
        return Err(Failure::question(text, ["decimal = \".\"", "decimal = \",\""]).into());
    }
    let own = evidence.proof();
    let whole_file = || {
        let proofs: Vec<Marks> = sample
            .columns
            .iter()
            .filter(|other| other.is_numeric())
            .filter_map(|other| other.evidence.proof())
            .collect();
        let first = proofs.first().copied()?;
        proofs.iter().all(|marks| *marks == first).then_some(first)
    };
    if let Some(marks) = own.or_else(whole_file) {
        return Ok(Some(marks));
    }
    let (example, line, as_decimal) = match (&evidence.either_point, &evidence.either_comma) {
        (None, None) => return Ok(None),
        // Where cells are parted by commas a comma is no decimal mark, so a point is one.
        (Some(_), None) if delimiter == Delimiter::Byte(b',') => return Ok(Some(Marks::POINT)),
        (Some((line, example)), _) => (example, *line, Marks::POINT),
        (None, Some((line, example))) => (example, *line, Marks::COMMA),
    };
    if asked.most.is_some_and(|most| evidence.largest_grouped > most) {
        return Ok(Some(as_decimal));
    }
    let mark = char::from(as_decimal.decimal);
    let decimal = example.replace(mark, ".");
    let grouped = example.replace(mark, "");
    let unit = asked.unit.map(|unit| format!(" {unit}")).unwrap_or_default();
    let failure = Failure::question(
        format!(
            "{} holds \"{example}\" (line {line}): is that {decimal}{unit} or {grouped}{unit}? Nothing else in the file tells",
            asked.title
        ),
        [
            format!("decimal = \"{mark}\"    # {example} is {decimal}"),
            format!("thousands = \"{mark}\"  # {example} is {grouped}"),
        ],
    );
    Err(Trouble {
        failure,
        more_may_help: true,
    })
}

/// Above this no reading or place is meant, by unit; only used to tell a decimal mark from grouped thousands.
///
/// Full sun at noon is about 2000 µmol m⁻² s⁻¹ and 120 000 lx (common practice, no source); the limits leave several
/// times that, and for places a tank of tens of metres.
pub(crate) fn most(unit: &str) -> Option<f64> {
    match unit {
        "umol.m-2.s-1" => Some(12_000.0),
        "lx" => Some(400_000.0),
        "W.m-2" => Some(3000.0),
        "mm" => Some(50_000.0),
        "cm" => Some(5000.0),
        "m" => Some(50.0),
        "in" => Some(2000.0),
        _ => None,
    }
}
