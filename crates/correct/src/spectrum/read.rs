//! A spectrum out of a text file: wavelength and value, any step, any order, header or not.

use super::{PAR_NM, Spectrum};

/// Far more points than a spectrometer gives.
const MOST_POINTS: usize = 200_000;
/// A wider step than this inside 400 to 700 nm is a hole, nm.
const WIDEST_STEP_NM: f64 = 50.0;
/// A step wider than this, and several times the usual one, is a hole too, nm.
const HOLE_NM: f64 = 20.0;
/// Noise about the dark, of the peak; more below zero is a mistake.
const DARK_NOISE: f64 = 0.02;

/// What the values mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// Light: power per nm, or photons where the header says so.
    Light,
    /// A device's relative response per watt, or per photon where the header says so.
    Response,
}

/// A spectrum that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Read {
    /// In nm and per watt.
    pub spectrum: Spectrum,
    /// What was assumed or mended, sentences.
    pub remarks: Vec<String>,
}

/// Why a file holds no spectrum: what, where, what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadError(pub String);

struct Row {
    line: usize,
    nm: f64,
    value: f64,
}

/// Reads a spectrum. Columns are parted by comma, semicolon, tab or blanks; lines that begin with `#` are passed over; a
/// decimal comma is understood where semicolons, tabs or blanks part the columns. Values per photon are brought to watts
/// with the wavelength (E = h c `N_A` / λ for a mole of photons).
///
/// # Errors
/// A sentence, where the text holds no spectrum that covers 400 to 700 nm (a response need not).
pub fn read(text: &str, meaning: Meaning) -> Result<Read, ReadError> {
    let mut remarks = Vec::new();
    let (header, mut rows) = rows(text, &mut remarks)?;
    let header = header.to_lowercase();
    to_nm(&header, &mut rows, &mut remarks)?;
    if rows.windows(2).any(|pair| pair[0].nm > pair[1].nm) {
        let is_falling = rows.windows(2).all(|pair| pair[0].nm >= pair[1].nm);
        remarks.push(
            if is_falling {
                "The wavelengths run downwards; they were turned round."
            } else {
                "The wavelengths were not in order; they were sorted."
            }
            .to_owned(),
        );
        rows.sort_by(|one, other| one.nm.total_cmp(&other.nm));
    }
    once_each(&mut rows, &mut remarks)?;
    let is_per_photon = ["mol", "photon", "quant"]
        .iter()
        .any(|word| header.contains(word));
    if is_per_photon {
        remarks.push(
            "The header speaks of photons: values were brought to watts with the wavelength.".to_owned(),
        );
        for row in &mut rows {
            match meaning {
                Meaning::Light => row.value *= 500.0 / row.nm,
                Meaning::Response => row.value *= row.nm / 500.0,
            }
        }
    }
    not_below_zero(&mut rows, &mut remarks)?;
    covered(&rows, meaning, &mut remarks)?;
    let points = rows.iter().map(|row| [row.nm, row.value]).collect();
    let spectrum = Spectrum::new(points).ok_or_else(|| {
        ReadError("every value is zero: there is no light in this spectrum; was the dark measured, or a shutter closed?".to_owned())
    })?;
    Ok(Read { spectrum, remarks })
}

/// The header's words and the rows with both numbers.
fn rows(text: &str, remarks: &mut Vec<String>) -> Result<(String, Vec<Row>), ReadError> {
    let mut header = String::new();
    let mut rows: Vec<Row> = Vec::new();
    let (mut holes, mut more_columns) = (Vec::new(), false);
    for (number, whole) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = number + 1;
        let whole = whole.trim();
        if whole.is_empty() {
            continue;
        }
        let cells = cells(whole);
        let number_at = |place: usize| cells.get(place).and_then(|cell| number_of(cell));
        match (number_at(0), number_at(1)) {
            _ if whole.starts_with('#') => header.extend([" ", whole]),
            (Some(nm), Some(value)) => {
                more_columns |= cells.len() > 2 && cells.iter().skip(2).any(|cell| !cell.is_empty());
                rows.push(Row { line, nm, value });
            }
            (Some(nm), None) if !rows.is_empty() || cells.len() > 1 => holes.push((line, nm)),
            _ if rows.is_empty() => header.extend([" ", whole]),
            _ => {
                return Err(ReadError(format!(
                    "line {line} holds no wavelength and value; each line holds both, as 450, 0.83. Take the line away, or mend it"
                )));
            }
        }
        if rows.len() > MOST_POINTS {
            return Err(ReadError(format!(
                "more than {MOST_POINTS} lines: this is no spectrum"
            )));
        }
    }
    if more_columns {
        remarks.push(
            "There are more than two columns; the second was taken as the value, the others passed over."
                .to_owned(),
        );
    }
    if let Some((line, nm)) = holes.first() {
        remarks.push(format!(
            "{} without a value (the first at {nm}, line {line}): a straight line was drawn across.",
            if holes.len() == 1 {
                "One line is".to_owned()
            } else {
                format!("{} lines are", holes.len())
            }
        ));
    }
    if rows.len() < 2 {
        return Err(ReadError(format!(
            "{} in it; a spectrum holds a wavelength in nm and a value on each line, as 450, 0.83",
            if rows.is_empty() {
                "there is no line with two numbers"
            } else {
                "there is one line with two numbers"
            }
        )));
    }
    Ok((header, rows))
}

fn cells(line: &str) -> Vec<String> {
    let parted: Vec<&str> = if line.contains(';') {
        line.split(';').collect()
    } else if line.contains('\t') {
        line.split('\t').collect()
    } else if line.contains(", ") || (line.contains(',') && !line.contains(' ')) {
        line.split(',').collect()
    } else {
        line.split_whitespace().collect()
    };
    let has_decimal_comma =
        !line.contains(", ") && (line.contains(';') || line.contains('\t') || line.contains(' '));
    parted
        .into_iter()
        .map(|cell| {
            let cell = cell.trim().trim_matches('"');
            if has_decimal_comma {
                cell.replace(',', ".")
            } else {
                cell.to_owned()
            }
        })
        .collect()
}

fn number_of(cell: &str) -> Option<f64> {
    cell.parse().ok().filter(|value: &f64| value.is_finite())
}

/// Wavelengths to nm: by the header's word, else by their size.
fn to_nm(header: &str, rows: &mut [Row], remarks: &mut Vec<String>) -> Result<(), ReadError> {
    let least = rows.iter().map(|row| row.nm).fold(f64::INFINITY, f64::min);
    let most = rows.iter().map(|row| row.nm).fold(0.0, f64::max);
    if least <= 0.0 {
        return Err(ReadError(format!(
            "a wavelength of {least} can't be; the first column holds wavelengths in nm"
        )));
    }
    let is_light = |by: f64| least * by >= 100.0 && most * by <= 20_000.0;
    let unit = [("µm", 1e3), ("ångström", 0.1), ("m", 1e9)]
        .into_iter()
        .find(|(unit, by)| match *unit {
            "ångström" => (header.contains("ngstr") || header.contains('å')) && is_light(*by),
            _ => most <= 20_000.0 / by && is_light(*by),
        });
    if let Some((unit, by)) = unit {
        remarks.push(format!("The wavelengths are in {unit}; they were brought to nm."));
        for row in rows.iter_mut() {
            // Through text, so that 0.41 µm is 410 nm and not a hair beside it.
            let nm = row.nm * by;
            row.nm = format!("{nm:.6}").parse().unwrap_or(nm);
        }
        return Ok(());
    }
    if least >= 2000.0 && most <= 12_000.0 {
        return Err(ReadError(format!(
            "the wavelengths run from {least} to {most}: if they are in ångström, write so in a header line, or divide them by 10"
        )));
    }
    if !is_light(1.0) {
        return Err(ReadError(format!(
            "the wavelengths run from {least} to {most}: no unit brings them all to light (280 to 2500 nm); write them all in nm"
        )));
    }
    Ok(())
}

/// A wavelength that stands twice with the same value is taken once.
fn once_each(rows: &mut Vec<Row>, remarks: &mut Vec<String>) -> Result<(), ReadError> {
    let twice = rows
        .windows(2)
        .find(|pair| pair[0].nm == pair[1].nm && pair[0].value != pair[1].value);
    if let Some([one, other]) = twice {
        return Err(ReadError(format!(
            "{} nm stands twice with different values (lines {} and {}); which one holds? Take the other away",
            one.nm,
            one.line.min(other.line),
            one.line.max(other.line)
        )));
    }
    let before = rows.len();
    rows.dedup_by(|one, other| one.nm == other.nm);
    if rows.len() < before {
        remarks.push(format!(
            "{} repeated with the same value were taken once.",
            wavelengths(before - rows.len())
        ));
    }
    Ok(())
}

fn wavelengths(count: usize) -> String {
    if count == 1 {
        "One wavelength".to_owned()
    } else {
        format!("{count} wavelengths")
    }
}

fn not_below_zero(rows: &mut [Row], remarks: &mut Vec<String>) -> Result<(), ReadError> {
    let peak = rows.iter().map(|row| row.value).fold(0.0, f64::max);
    if let Some(row) = rows.iter().find(|row| row.value < -DARK_NOISE * peak) {
        return Err(ReadError(format!(
            "line {}: {} at {} nm is below zero by more than noise; light can't be. Take the dark away again, or mend the line",
            row.line, row.value, row.nm
        )));
    }
    let below = rows.iter().filter(|row| row.value < 0.0).count();
    if below > 0 {
        remarks.push(format!(
            "{} with a value a little below zero (noise about the dark) count as zero.",
            wavelengths(below)
        ));
        for row in rows.iter_mut() {
            row.value = row.value.max(0.0);
        }
    }
    Ok(())
}

/// No hole, and both ends of 400 to 700 nm.
fn covered(rows: &[Row], meaning: Meaning, remarks: &mut Vec<String>) -> Result<(), ReadError> {
    let mut steps: Vec<f64> = rows.windows(2).map(|pair| pair[1].nm - pair[0].nm).collect();
    steps.sort_by(f64::total_cmp);
    let usual = steps.get(steps.len() / 2).copied().unwrap_or_default();
    for pair in rows.windows(2) {
        let (from, to) = (pair[0].nm, pair[1].nm);
        let step = to - from;
        let is_inside = to > PAR_NM[0] && from < PAR_NM[1];
        if is_inside && (step > WIDEST_STEP_NM || (step > HOLE_NM && step > 3.0 * usual)) {
            return Err(ReadError(format!(
                "there is a hole from {from} to {to} nm; measure again, or fill it in: a straight line across would invent light"
            )));
        }
    }
    if usual > 10.0 {
        remarks.push(format!(
            "The steps are wide ({usual} nm): narrow peaks, as of blue LEDs, are blunted."
        ));
    }
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return Ok(());
    };
    let peak = rows.iter().map(|row| row.value).fold(0.0, f64::max);
    for (end, is_missing, words) in [
        (first, first.nm > PAR_NM[0], "begins at"),
        (last, last.nm < PAR_NM[1], "ends at"),
    ] {
        if !is_missing {
            continue;
        }
        let is_dark = end.value <= 1e-3 * peak;
        if !is_dark && meaning == Meaning::Light {
            return Err(ReadError(format!(
                "it {words} {} nm, but PPFD counts photons from 400 to 700 nm and there is light at that end; measure over the whole of it",
                end.nm
            )));
        }
        let what = if meaning == Meaning::Light {
            "no light"
        } else {
            "no response"
        };
        remarks.push(format!("It {words} {} nm; beyond, {what} is assumed.", end.nm));
    }
    Ok(())
}
