//! The last question: where zero lies and where x, y and z point, tried on a first file's readings.

use super::{Found, direction_words, frame, zero_words, zeros_to_try};
use undim_model::{Frame, Inside, LengthUnit};
use undim_place::order;

/// An answer to the last question: a number of the list, or corner and directions.
pub(crate) fn chosen(
    text: &str,
    choices: &[Frame],
    found: Option<&Found>,
    inside: Option<&Inside>,
) -> Result<Frame, String> {
    if let Ok(number) = text.parse::<usize>()
        && !choices.is_empty()
    {
        let choice = number.checked_sub(1).and_then(|number| choices.get(number));
        return choice
            .cloned()
            .ok_or_else(|| format!("there are {} ways; type a number from 1 to {0}", choices.len()));
    }
    let (zero, axes) = corner_and_directions(text)?;
    let told = frame(zero.as_deref(), axes.as_deref(), inside)?;
    if let (Some(found), Some(inside)) = (found, inside)
        && !order::fits(&found.extent, &told, inside)
    {
        return Err(format!(
            "so the file's readings don't all lie in the tank: {}",
            beyond(found, &told, inside)
        ));
    }
    Ok(told)
}

/// "left bottom front; right up back", or one of the two.
fn corner_and_directions(text: &str) -> Result<(Option<String>, Option<String>), String> {
    let example = "type the corner, then the directions, as left bottom front; right up back";
    if let Some((zero, axes)) = text.split_once(';') {
        return Ok((Some(zero.to_owned()), Some(axes.to_owned())));
    }
    let words: Vec<&str> = text.split([' ', ',']).filter(|word| !word.is_empty()).collect();
    match words.len() {
        6 | 7 => Ok((Some(words[..3].join(" ")), Some(words[3..].join(" ")))),
        3 | 4 => {
            let folded = text.to_lowercase();
            let is_directions = folded.split([' ', ',']).any(|word| matches!(word, "up" | "down"));
            Ok(if is_directions {
                (None, Some(words.join(" ")))
            } else {
                (Some(words.join(" ")), None)
            })
        }
        _ => Err(format!("“{text}” is not understood; {example}")),
    }
}

/// The orders that fit: with the unit that was told or stated, else in the first unit that any fits in.
pub(crate) fn fitting(found: &Found, zero: Option<&str>, inside: &Inside) -> Result<Vec<Frame>, String> {
    let zeros = zeros_to_try(zero, inside)?;
    for unit in [
        LengthUnit::Centimetre,
        LengthUnit::Millimetre,
        LengthUnit::Inch,
        LengthUnit::Metre,
    ] {
        let zeros: Vec<Frame> = zeros.iter().map(|zero| Frame { unit, ..zero.clone() }).collect();
        let fitting = order::orders_that_fit(&found.extent, &zeros, inside);
        if !fitting.is_empty() {
            return Ok(fitting);
        }
    }
    Ok(Vec::new())
}

/// "x right, y up, z back from left bottom front".
pub(crate) fn in_words(frame: &Frame, inside: Option<&Inside>) -> String {
    let [x, y, z] = direction_words(frame.axes);
    let unit = match frame.unit {
        LengthUnit::Centimetre => "",
        LengthUnit::Millimetre => ", in mm",
        LengthUnit::Metre => ", in m",
        LengthUnit::Inch => ", in inches",
    };
    format!("x {x}, y {y}, z {z} from {}{unit}", zero_words(frame, inside))
}

/// Where readings lie outside, in words.
pub(crate) fn beyond(found: &Found, frame: &Frame, inside: &Inside) -> String {
    let names = ["from left", "from bottom", "from front"];
    let most = [inside.length_cm, inside.height_cm, inside.front_to_back_cm];
    let ends = order::reach(&found.extent, frame, inside);
    let out: Vec<String> = names
        .iter()
        .zip(most)
        .zip(ends)
        .filter_map(|((name, most), ends)| {
            let [least, greatest] = ends?;
            (least < 0.0 || greatest > most).then(|| {
                format!(
                    "{name} {} to {} cm, where the tank has 0 to {most}",
                    tidy(least),
                    tidy(greatest)
                )
            })
        })
        .collect();
    out.join("; ")
}

pub(crate) fn spans(found: &Found) -> String {
    let names = ["x", "y", "z"];
    let spans: Vec<String> = names
        .iter()
        .zip(found.extent.xyz)
        .filter_map(|(name, ends)| {
            ends.map(|[least, greatest]| format!("{name} {} to {}", tidy(least), tidy(greatest)))
        })
        .collect();
    spans.join(", ")
}

fn tidy(number: f64) -> f64 {
    (number * 100.0).round() / 100.0
}
