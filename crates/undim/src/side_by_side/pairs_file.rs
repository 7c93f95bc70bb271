//! A file of pairs: `station,device,reference,u_device,u_reference,correlation` (formats, section 8).

use std::path::Path;
use undim_correct::fit::Pair;
use undim_emit::text_cell::shown;
use undim_model::Text;

/// Its columns; `time` and `scene` may be added, all but `device` and `reference` may lack.
const COLUMNS: [&str; 8] = [
    "station",
    "device",
    "reference",
    "u_device",
    "u_reference",
    "correlation",
    "time",
    "scene",
];
/// More pairs than anybody takes by hand.
const MOST_PAIRS: usize = 20_000;
/// And a file of them is no larger.
const MOST_BYTES: u64 = 16 << 20;

/// Reads it; the error is a sentence with the line.
pub(crate) fn read(path: &Path) -> Result<Vec<Pair>, String> {
    let name = shown(&path.display().to_string()).into_owned();
    let metadata = std::fs::metadata(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => format!("there is no file {name}; check how its name is written"),
        _ => format!("{name} can't be read: {error}"),
    })?;
    if !metadata.is_file() {
        return Err(format!("{name} is no regular file; name a CSV file of pairs"));
    }
    if metadata.len() > MOST_BYTES {
        return Err(format!(
            "{name} is too large for a file of pairs; name the survey or its files instead"
        ));
    }
    let bytes = std::fs::read(path).map_err(|error| format!("{name} can't be read: {error}"))?;
    parse(&bytes).map_err(|why| format!("{name}: {why}"))
}

fn parse(bytes: &[u8]) -> Result<Vec<Pair>, String> {
    let text =
        std::str::from_utf8(bytes).map_err(|_| "it is no UTF-8 text; save it as CSV in UTF-8".to_owned())?;
    let text = text.trim_start_matches('\u{feff}');
    let head = text.lines().next().unwrap_or_default();
    let delimiter = [b',', b';', b'\t']
        .into_iter()
        .max_by_key(|mark| head.bytes().filter(|byte| byte == mark).count());
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter.unwrap_or(b','))
        .trim(csv::Trim::All)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let header = reader.headers().map_err(|error| error.to_string())?.clone();
    let place_of = |column: &str| header.iter().position(|name| name.eq_ignore_ascii_case(column));
    let expected =
        "the first line names the columns station,device,reference,u_device,u_reference,correlation";
    let (Some(_), Some(_)) = (place_of("device"), place_of("reference")) else {
        return Err(format!("it has no columns device and reference; {expected}"));
    };
    if let Some(unknown) = header
        .iter()
        .find(|name| !COLUMNS.iter().any(|column| name.eq_ignore_ascii_case(column)))
    {
        return Err(format!(
            "it has a column “{}” that means nothing here; {expected}",
            shown(unknown)
        ));
    }
    let places = COLUMNS.map(place_of);
    let mut pairs = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        if record.iter().all(str::is_empty) {
            continue;
        }
        let line = record.position().map_or(0, csv::Position::line);
        if record.len() > header.len() {
            return Err(format!(
                "line {line} has {} cells, the header {}",
                record.len(),
                header.len()
            ));
        }
        if pairs.len() == MOST_PAIRS {
            return Err(format!("it holds more than {MOST_PAIRS} pairs"));
        }
        pairs.push(pair(&record, &places, line, pairs.len() + 1)?);
    }
    Ok(pairs)
}

fn pair(
    record: &csv::StringRecord,
    places: &[Option<usize>; 8],
    line: u64,
    number: usize,
) -> Result<Pair, String> {
    let cell = |column: usize| {
        let cell = places[column]
            .and_then(|place| record.get(place))
            .unwrap_or_default();
        (!cell.is_empty()).then_some(cell)
    };
    let value = |column: usize| -> Result<Option<f64>, String> {
        let Some(text) = cell(column) else { return Ok(None) };
        let number: Option<f64> = text.parse().ok();
        match number {
            Some(number) if number.is_finite() => Ok(Some(number)),
            _ => Err(format!(
                "line {line}, column {}: “{}” is no number; write it like 12.5",
                COLUMNS[column],
                shown(text)
            )),
        }
    };
    let uncertainty = |column: usize| match value(column)? {
        Some(u) if u < 0.0 => Err(format!(
            "line {line}, column {}: an uncertainty is not below 0",
            COLUMNS[column]
        )),
        u => Ok(u),
    };
    let correlation = value(5)?.unwrap_or(0.0);
    if correlation.abs() >= 1.0 {
        return Err(format!(
            "line {line}, column correlation: it lies between -1 and 1"
        ));
    }
    let time = match cell(6) {
        Some(text) => Some(text.parse().map_err(|_| {
            format!(
                "line {line}, column time: “{}” is no time; write it like 2026-03-01T12:00:00+00:00",
                shown(text)
            )
        })?),
        None => None,
    };
    Ok(Pair {
        station: Text::from(cell(0).map_or_else(|| number.to_string(), str::to_owned)),
        time,
        scene: cell(7).map(Text::from),
        // A missing number leaves the pair out, and this is said.
        device: value(1)?.unwrap_or(f64::NAN),
        u_device: uncertainty(3)?,
        reference: value(2)?.unwrap_or(f64::NAN),
        u_reference: uncertainty(4)?,
        correlation,
        reasons: vec![],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_may_stand_in_any_order_and_most_may_lack() {
        let pairs = parse(b"\xef\xbb\xbfReference; device\n10;9\n\n;8\n").unwrap();
        assert_eq!(pairs.len(), 2);
        assert_eq!((pairs[0].device, pairs[0].reference), (9.0, 10.0));
        assert_eq!((&*pairs[0].station, pairs[0].u_device), ("1", None));
        assert!(pairs[1].reference.is_nan());
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        let why = |text: &str| parse(text.as_bytes()).unwrap_err();
        assert!(why("a,b\n1,2\n").contains("no columns device and reference"));
        assert!(why("device,reference,colour\n1,2,3\n").contains("“colour”"));
        assert!(why("device,reference\n1,x\n").contains("line 2, column reference"));
        assert!(why("device,reference,u_device\n1,2,-1\n").contains("not below 0"));
        assert!(why("device,reference,correlation\n1,2,1\n").contains("between -1 and 1"));
        assert!(why("device,reference\n1,2,3\n").contains("3 cells"));
        assert!(why("device,reference\n1,inf\n").contains("is no number"));
    }
}
