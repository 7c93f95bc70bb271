//! What was typed, understood; each error is a sentence that says what to type instead.

use super::{DeviceAnswer, FixtureAnswer, Named, named};
use undim_model::{DateSpan, Direction3, Frame, Inside, LengthUnit, Zero};
use undim_place::order::inward;

/// A tank's side, and anything that hangs near it, cm: what lies outside is a slip of the keys or the unit.
const SIDES_CM: std::ops::RangeInclusive<f64> = 5.0..=3000.0;

/// The most fixtures that a first site is made with.
const MOST_FIXTURES: usize = 24;

/// What a place that only size can tell is said about.
const CANNOT_BE_MEASURED: &str =
    "that is told by the tank's size; give the size too, as --size \"120 x 60 x 55 cm\"";

/// A number as people type it, with a point or a comma.
fn number(text: &str) -> Option<f64> {
    let plain = text.replace(',', ".").replace('\u{2212}', "-");
    let looks_like_one = plain
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
    plain
        .parse::<f64>()
        .ok()
        .filter(|number| looks_like_one && number.is_finite())
}

/// A number with a unit of length right behind it, or without.
fn length(text: &str) -> Option<(f64, Option<LengthUnit>)> {
    let digits = text.trim_end_matches(|c: char| c.is_ascii_alphabetic() || c == '"');
    let unit = match &text[digits.len()..] {
        "" => None,
        "\"" | "inch" | "inches" => Some(LengthUnit::Inch),
        code => Some(LengthUnit::from_code(code)?),
    };
    Some((number(digits.trim_end())?, unit))
}

/// Several lengths, in cm: the last unit holds for those without one.
fn lengths(text: &str) -> Option<Vec<f64>> {
    let lowered = text.to_lowercase().replace(['×', '*', ';', '/'], " x ");
    // "120x60x55cm" and "60 cm": a cross parts numbers, a unit belongs to the number before it.
    let mut apart = String::new();
    for word in lowered.split_whitespace() {
        let word = word.strip_suffix(',').unwrap_or(word);
        let is_unit = matches!(word, "mm" | "cm" | "m" | "in" | "inch" | "inches" | "\"");
        if !is_unit && !apart.is_empty() {
            apart.push(' ');
        }
        apart.push_str(if word == "by" { "x" } else { word });
    }
    let mut parts: Vec<&str> = apart.split([' ', 'x']).filter(|part| !part.is_empty()).collect();
    // "120,60,55": three numbers, as no number has two commas.
    if let [only] = parts.as_slice()
        && only.matches(',').count() == 2
    {
        parts = only.split(',').collect();
    }
    let parsed: Vec<(f64, Option<LengthUnit>)> = parts.into_iter().map(length).collect::<Option<_>>()?;
    let common = parsed.iter().rev().find_map(|(_, unit)| *unit);
    let cm = |(number, unit): &(f64, Option<LengthUnit>)| {
        number * unit.or(common).unwrap_or(LengthUnit::Centimetre).cm()
    };
    // Hundredths of a centimetre are as exact as glass is.
    Some(
        parsed
            .iter()
            .map(|one| (cm(one) * 100.0).round() / 100.0)
            .collect(),
    )
}

/// Inside length, front to back and height.
pub(crate) fn inside(text: &str) -> Result<Inside, String> {
    let example = "type length, front to back and height, as 120 x 60 x 55 cm";
    let sides = lengths(text).ok_or_else(|| format!("“{text}” is no size; {example}"))?;
    let [length_cm, front_to_back_cm, height_cm] = sides.as_slice() else {
        return Err(format!(
            "“{text}” holds {} of three sides; {example}",
            sides.len()
        ));
    };
    for side in &sides {
        if !SIDES_CM.contains(side) {
            return Err(format!(
                "a tank with a side of {side} cm can't be; {example} (or with mm, m or in)"
            ));
        }
    }
    Ok(Inside {
        length_cm: *length_cm,
        front_to_back_cm: *front_to_back_cm,
        height_cm: *height_cm,
        ..Inside::default()
    })
}

/// The water's height over the bottom pane.
pub(crate) fn water(text: &str, inside: Option<&Inside>) -> Result<f64, String> {
    let example = "type the height from bottom pane to surface, as 50 cm";
    let water = match lengths(text).as_deref() {
        Some([water]) => *water,
        _ => return Err(format!("“{text}” is no height; {example}")),
    };
    let Some(inside) = inside else {
        return Err(format!(
            "the water's height alone says little: {CANNOT_BE_MEASURED}"
        ));
    };
    if water <= 0.0 {
        return Err(format!("a water height of {water} cm can't be; {example}"));
    }
    if water > inside.height_cm {
        return Err(format!(
            "water at {water} cm would stand above the glass, which ends at {} cm; {example}",
            inside.height_cm
        ));
    }
    Ok(water)
}

/// Fixtures from left to right: a count, names, or names with places.
pub(crate) fn fixtures(text: &str, inside: Option<&Inside>) -> Result<Vec<FixtureAnswer>, String> {
    let example = "type their names from left to right, as west, east, or with places, as west 30 75 30; east 90 75 30 (cm from left, from bottom, from front)";
    let separator = if text.contains(';') { ';' } else { ',' };
    let parts: Vec<&str> = text
        .split(separator)
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .collect();
    let mut told: Vec<FixtureAnswer> = Vec::new();
    if let [count] = parts.as_slice()
        && let Ok(count) = count.parse::<usize>()
    {
        if !(1..=MOST_FIXTURES).contains(&count) {
            return Err(format!("{count} fixtures can't be; {example}"));
        }
        for number in 1..=count {
            told.push(FixtureAnswer {
                named: named(&format!("fixture-{number}"))?,
                centre_cm: None,
            });
        }
    } else {
        for part in &parts {
            told.push(fixture(part).ok_or_else(|| format!("“{part}” is no fixture; {example}"))??);
        }
    }
    if told.is_empty() || told.len() > MOST_FIXTURES {
        return Err(format!("{} fixtures can't be; {example}", told.len()));
    }
    for (number, one) in told.iter().enumerate() {
        if let Some(other) = told[..number].iter().find(|other| other.named.id == one.named.id) {
            return Err(format!(
                "the fixtures “{}” and “{}” would both be called {}; give each its own name",
                other.named.name, one.named.name, one.named.id
            ));
        }
    }
    for one in &told {
        match (one.centre_cm, inside) {
            (Some(centre), Some(inside)) => hangs(&one.named, centre, inside)?,
            (None, None) => {
                return Err(format!(
                    "where the fixture {} hangs is not told; give the tank's size too and they are spread over its length, or give each its place: {example}",
                    one.named.name
                ));
            }
            _ => {}
        }
    }
    Ok(told)
}

/// A name, and three numbers behind it or none.
fn fixture(part: &str) -> Option<Result<FixtureAnswer, String>> {
    let words: Vec<&str> = part
        .split([' ', '\t', '@', ':'])
        .flat_map(three_in_one)
        .filter(|word| !word.is_empty())
        .collect();
    let tail = words
        .iter()
        .rev()
        .take_while(|word| number(word.trim_end_matches(',')).is_some());
    let numbers = tail.count();
    let (name, place) = match numbers {
        3 => words.split_at(words.len() - 3),
        // A number of its own belongs to a name, as in "fixture 2".
        0 | 1 => (words.as_slice(), [].as_slice()),
        _ => return None,
    };
    let place: Vec<f64> = place
        .iter()
        .map(|word| number(word.trim_end_matches(',')))
        .collect::<Option<_>>()?;
    Some(named(&name.join(" ")).map(|named| FixtureAnswer {
        named,
        centre_cm: <[f64; 3]>::try_from(place).ok(),
    }))
}

/// "30,75,30" is three numbers, for no number has two commas; any other word is itself.
fn three_in_one(word: &str) -> Vec<&str> {
    let parts: Vec<&str> = word.split(',').collect();
    if parts.len() == 3 && parts.iter().all(|part| number(part).is_some()) {
        parts
    } else {
        vec![word]
    }
}

/// A fixture hangs over its tank, above the water.
fn hangs(fixture: &Named, [left, bottom, front]: [f64; 3], inside: &Inside) -> Result<(), String> {
    for (what, at, most) in [
        ("from left", left, inside.length_cm),
        ("from front", front, inside.front_to_back_cm),
    ] {
        if !(0.0..=most).contains(&at) {
            return Err(format!(
                "the fixture {} would hang outside the tank: {what} {at} cm, where the tank has 0 to {most} cm; type its place as cm from left, from bottom, from front",
                fixture.name
            ));
        }
    }
    let water = inside.water_cm.unwrap_or(inside.height_cm);
    if bottom < water {
        return Err(format!(
            "the fixture {} would hang under the water: {bottom} cm from the bottom pane, where the water stands at {water} cm; count from the bottom pane up",
            fixture.name
        ));
    }
    Ok(())
}

/// Output when measuring, as fractions: one for all fixtures or one for each.
pub(crate) fn output(text: &str, fixtures: usize) -> Result<Vec<f64>, String> {
    let example = "type one number of percent, as 60, or one for each fixture, as 60 80";
    if fixtures == 0 {
        return Err(
            "output belongs to fixtures, and none are told; name them too, as --fixtures \"west, east\""
                .to_owned(),
        );
    }
    let no_blank = text.replace(" %", "%");
    let mut parts: Vec<&str> = no_blank
        .split([' ', ';', '\t'])
        .map(|part| part.trim_end_matches(','))
        .filter(|part| !part.is_empty())
        .collect();
    if let [only] = parts.as_slice()
        && fixtures > 1
        && only.matches(',').count() + 1 == fixtures
    {
        parts = only.split(',').collect();
    }
    let mut levels = Vec::new();
    for part in parts {
        let percent = number(part.trim_end_matches('%'));
        let Some(percent) = percent.filter(|percent| (0.0..=100.0).contains(percent)) else {
            return Err(format!("“{part}” is no output between 0 and 100 %; {example}"));
        };
        // "0.6" is what some fixtures call 60 %; less than one percent lights no tank.
        let is_fraction = percent > 0.0 && percent <= 1.0 && !part.ends_with('%');
        levels.push(if is_fraction { percent } else { percent / 100.0 });
    }
    match levels.as_slice() {
        [one] => Ok(vec![*one; fixtures]),
        _ if levels.len() == fixtures => Ok(levels),
        _ => Err(format!(
            "{} outputs for {fixtures} {}; {example}",
            levels.len(),
            if fixtures == 1 { "fixture" } else { "fixtures" }
        )),
    }
}

/// What readings are taken with: a name, and behind commas what it reads in and whether it is a reference.
pub(crate) fn device(text: &str) -> Result<DeviceAnswer, String> {
    let mut parts = text.split(',').map(str::trim);
    let named = named(parts.next().unwrap_or_default())?;
    let mut device = DeviceAnswer {
        named,
        unit: None,
        is_reference: false,
    };
    for part in parts {
        let folded = part.to_lowercase();
        match folded.as_str() {
            "" | "everyday" => {}
            "reference" => device.is_reference = true,
            "lux" => device.unit = Some("lx".to_owned()),
            "ppfd" | "par" | "umol" | "µmol" | "μmol" => device.unit = Some("umol.m-2.s-1".to_owned()),
            "lx" | "klx" => device.unit = Some(folded),
            _ if undim_clean::unit::parse(part).is_some() => device.unit = Some(part.to_owned()),
            _ => {
                return Err(format!(
                    "“{part}” is neither a unit nor “reference”; type the name, then what it reads in, as Logger, lx or Hired sensor, reference"
                ));
            }
        }
    }
    Ok(device)
}

/// Where zero lies and where x, y and z point. Either may be left out: the zero is then the left bottom front
/// corner, the axes lead from their zero into the tank, x along the length, y the height.
pub(crate) fn frame(
    zero: Option<&str>,
    axes: Option<&str>,
    inside: Option<&Inside>,
) -> Result<Frame, String> {
    let mut frame = match zero {
        Some(zero) => zero_at(zero, inside)?,
        None => own(),
    };
    match axes {
        Some(axes) => (frame.axes, frame.unit) = directions(axes)?,
        None => frame.axes = inward(&frame, inside.unwrap_or(&Inside::default())),
    }
    if let Some(inside) = inside {
        leads_inside(&frame, inside)?;
    }
    Ok(frame)
}

/// The zeros that a file's readings are tried with: the one that was told, else the left bottom front corner
/// and, for depths, the surface above it.
pub(crate) fn zeros_to_try(zero: Option<&str>, inside: &Inside) -> Result<Vec<Frame>, String> {
    if let Some(zero) = zero {
        return Ok(vec![zero_at(zero, Some(inside))?]);
    }
    let mut zeros = vec![own()];
    if inside.water_cm.is_some() {
        zeros.push(Frame {
            zero: Zero::Surface,
            ..own()
        });
    }
    Ok(zeros)
}

/// The tank's own axes, as a frame.
fn own() -> Frame {
    Frame {
        id: "rod".to_owned(),
        origin_cm: [0.0; 3],
        axes: [Direction3::Right, Direction3::Up, Direction3::Back],
        unit: LengthUnit::Centimetre,
        zero: Zero::Bottom,
        place_cm: 0.0,
        rod_cm: 0.0,
        span: DateSpan::default(),
    }
}

fn zero_at(text: &str, inside: Option<&Inside>) -> Result<Frame, String> {
    let example = "type the corner, as left bottom front or right surface back, or its place in cm from left, from bottom, from front, as 0 0 0";
    let mut frame = own();
    let lowered = text.to_lowercase();
    let words: Vec<&str> = lowered
        .split([' ', ',', ';', '\t', '-'])
        .filter(|word| !word.is_empty())
        .collect();
    if words.iter().all(|word| number(word).is_some()) && !words.is_empty() {
        let numbers: Vec<f64> = lowered
            .split([' ', ';', '\t'])
            .flat_map(three_in_one)
            .map(|part| part.trim_end_matches(','))
            .filter(|part| !part.is_empty())
            .filter_map(number)
            .collect();
        frame.origin_cm =
            <[f64; 3]>::try_from(numbers).map_err(|_| format!("“{text}” is no place; {example}"))?;
        return Ok(frame);
    }
    let side = |most: fn(&Inside) -> f64| {
        inside.map(most).ok_or_else(|| {
            format!("how far “{text}” is from the left bottom front corner, {CANNOT_BE_MEASURED}")
        })
    };
    let mut told = [false; 3];
    for word in words {
        let place = match word {
            "left" | "right" => 0,
            "bottom" | "floor" | "surface" | "water" | "top" | "rim" => 1,
            "front" | "back" | "rear" | "behind" => 2,
            "corner" | "the" | "at" => continue,
            _ => return Err(format!("“{word}” is no side of a tank; {example}")),
        };
        if std::mem::replace(&mut told[place], true) {
            return Err(format!(
                "“{text}” names two sides that face each other; {example}"
            ));
        }
        match word {
            "right" => frame.origin_cm[0] = side(|inside| inside.length_cm)?,
            "top" | "rim" => frame.origin_cm[1] = side(|inside| inside.height_cm)?,
            "surface" | "water" => frame.zero = Zero::Surface,
            "back" | "rear" | "behind" => frame.origin_cm[2] = side(|inside| inside.front_to_back_cm)?,
            _ => {}
        }
    }
    if told != [true; 3] {
        return Err(format!(
            "“{text}” doesn't name one of left or right, one of bottom or surface, and one of front or back; {example}"
        ));
    }
    Ok(frame)
}

fn directions(text: &str) -> Result<([Direction3; 3], LengthUnit), String> {
    let example =
        "type where x, y and z point, as right up back; each is one of right, left, up, down, back, front";
    let lowered = text.to_lowercase();
    let mut words: Vec<&str> = lowered
        .split([' ', ',', ';', '\t'])
        .filter(|word| !word.is_empty())
        .collect();
    let unit = words.last().and_then(|last| LengthUnit::from_code(last));
    if unit.is_some() {
        words.pop();
    }
    let mut axes = Vec::new();
    for word in &words {
        axes.push(match *word {
            "right" => Direction3::Right,
            "left" => Direction3::Left,
            "up" => Direction3::Up,
            "down" => Direction3::Down,
            "back" | "rear" | "backwards" => Direction3::Back,
            "front" | "forward" | "forwards" => Direction3::Front,
            _ => return Err(format!("“{word}” is no direction in a tank; {example}")),
        });
    }
    let axes = <[Direction3; 3]>::try_from(axes)
        .map_err(|axes| format!("“{text}” holds {} of three directions; {example}", axes.len()))?;
    let mut lines = axes.map(|axis| axis.axis_and_sign().0);
    lines.sort_unstable();
    if lines != [0, 1, 2] {
        return Err(format!(
            "in “{text}” two of the three lie along the same line; {example}"
        ));
    }
    Ok((axes, unit.unwrap_or_default()))
}

/// An axis that leads from its zero straight out of the tank contradicts it.
fn leads_inside(frame: &Frame, inside: &Inside) -> Result<(), String> {
    let most = [inside.length_cm, inside.height_cm, inside.front_to_back_cm];
    for (name, axis) in ["x", "y", "z"].into_iter().zip(frame.axes) {
        let (place, sign) = axis.axis_and_sign();
        let (origin, most) = (frame.origin_cm[place], most[place]);
        let surface = place == 1 && frame.zero == Zero::Surface;
        let leaves = match (surface, sign > 0.0) {
            // Heights over the surface are counted in minus figures by some: both ways are right.
            (true, _) => false,
            (false, true) => origin >= most,
            (false, false) => origin <= 0.0,
        };
        if leaves {
            return Err(format!(
                "with 0, 0, 0 there, {name} would point out of the tank; say where 0, 0, 0 is, as right bottom front, or turn {name} round"
            ));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
