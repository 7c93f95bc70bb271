//! The correction as a keeper writes it: the TOML block of formats, section 4.

use super::Fitting;
use super::json::model_and_knot;
use undim_model::{Factor, Medium};

/// Significant digits of numbers in the block: more than any light has, few enough to read.
const DIGITS: usize = 9;

/// The block, with its evidence as a comment; `None` where no correction is proposed.
pub(crate) fn block(fitting: &Fitting) -> Option<String> {
    let fit = fitting.proposal.fit(fitting.reference.as_deref())?;
    let (model, knot) = model_and_knot(fit.model);
    let mut text = String::from("[[correction]]\n");
    for line in evidence(fitting) {
        text += &format!("# {line}\n");
    }
    if let Some(day) = fitting.valid_from {
        text += &format!("valid_from  = {day}\n");
    }
    let scenes = &fitting.proposal.scenes;
    if !scenes.is_empty() {
        let names: Vec<String> = scenes.iter().map(|scene| quoted(scene)).collect();
        text += &format!("scenes      = [{}]\n", names.join(", "));
    }
    if let Some(medium) = fitting.medium {
        let word = match medium {
            Medium::Air => "air",
            Medium::Water => "water",
        };
        text += &format!("medium      = \"{word}\"\n");
    }
    if let Some(before) = &fitting.before {
        text += &factor("dark", before.dark, 0.0);
        if let Some(sensitivity) = before.sensitivity {
            text += &factor("sensitivity", sensitivity, f64::NAN);
        }
    }
    let list = |numbers: &[f64]| {
        format!(
            "[{}]",
            numbers.iter().map(|n| number(*n)).collect::<Vec<_>>().join(", ")
        )
    };
    let mut parts = vec![
        format!("model = \"{model}\""),
        format!("coefficients = {}", list(&fit.coefficients)),
    ];
    parts.extend(knot.map(|knot| format!("knot = {}", number(knot))));
    let rows: Vec<String> = fit.covariance.iter().map(|row| list(row)).collect();
    parts.push(format!("covariance = [{}]", rows.join(", ")));
    parts.extend(fit.over.map(|over| format!("over = {}", list(&over))));
    parts.extend(fit.pairs.map(|pairs| format!("pairs = {pairs}")));
    parts.extend(
        fit.reference
            .as_ref()
            .map(|reference| format!("reference = {}", quoted(reference))),
    );
    text += &format!("fit         = {{ {} }}\n", parts.join(", "));
    Some(text)
}

/// From where it comes, a line each.
fn evidence(fitting: &Fitting) -> Vec<String> {
    let proposal = &fitting.proposal;
    let all = proposal.pairs.len();
    let used = proposal.used().count();
    let left_out: Vec<String> = (proposal.pairs.iter())
        .filter(|judged| !judged.used)
        .take(6)
        .map(|judged| judged.pair.station.to_string())
        .collect();
    let mut lines = vec![format!(
        "{used} pairs{} from {}{}",
        if used < all {
            format!(" of {all}")
        } else {
            String::new()
        },
        fitting
            .sources
            .iter()
            .map(|source| one_line(source))
            .collect::<Vec<_>>()
            .join(", "),
        if left_out.is_empty() {
            String::new()
        } else {
            format!("; left out: {}", one_line(&left_out.join(", ")))
        },
    )];
    if let Some(candidate) = proposal.picked()
        && let Some(error) = proposal.leave_one_out(candidate)
    {
        lines.push(format!("leave-one-out error {}", number_short(error)));
    }
    if let Some(step) = proposal.lack.step {
        lines.push(format!(
            "the device jumps near {} by about {}; the covariance allows for it",
            number_short(step.at),
            number_short(step.size.abs())
        ));
    }
    lines
}

fn factor(name: &str, factor: Factor, left_out_at: f64) -> String {
    let mut text = String::new();
    if factor.value != left_out_at {
        text += &format!("{name:<11} = {}\n", number(factor.value));
    }
    if factor.u != 0.0 {
        text += &format!("{:<11} = {}\n", format!("u_{name}"), number(factor.u));
    }
    text
}

/// A TOML float.
fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.*e}", DIGITS - 1).parse().unwrap_or(value);
    format!("{rounded:?}")
}

fn number_short(value: f64) -> String {
    let rounded: f64 = format!("{value:.2e}").parse().unwrap_or(value);
    format!("{rounded}")
}

/// A basic string: what TOML does not take as it stands is escaped.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => out += &format!("\\u{:04X}", u32::from(c)),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_texts_are_toml() {
        assert_eq!(number(10.0), "10.0");
        assert_eq!(number(1.0 / 3.0), "0.333333333");
        assert_eq!(number(4.2e-7), "4.2e-7");
        assert_eq!(quoted("a\"b\\\n"), "\"a\\\"b\\\\\\u000A\"");
    }
}
