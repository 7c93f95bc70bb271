//! One survey on a terminal: 80 columns, details first, the answer last.

use crate::corals::TO_95;
use crate::page::facts::facts;
use crate::page::label::is_wide;
use crate::sign::{Seen, Sign, is_compared, seen};
use crate::text_cell::shown;
use crate::{Report, words};

/// The width that nothing passes, names excepted.
const WIDTH: usize = 80;
/// The longest name that is shown whole.
const NAME: usize = 24;

/// What a terminal can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Glyphs {
    /// Signs and units as they are.
    Unicode,
    /// ASCII alone.
    Ascii,
}

/// The summary, lines ended by `\n`; the caller adds the path of the page.
pub fn answer(report: &Report<'_>, glyphs: Glyphs) -> String {
    let mut lines: Vec<String> = Vec::new();
    let survey = report.survey;
    lines.push(fit(
        &format!(
            "{}, survey {} (revision {})",
            shown(&report.tank.name),
            shown(&survey.id),
            survey.revision
        ),
        WIDTH,
    ));
    lines.push("PAR (PPFD) in µmol m⁻² s⁻¹, ± 95 %".to_owned());
    let compared = is_compared(report);
    for seen in &seen(report) {
        lines.push(row(seen, compared));
    }
    lines.push(String::new());
    for fact in facts(report) {
        lines.extend(wrap(&format!("{}: {}.", fact.what, fact.more), ""));
    }
    lines.push(String::new());
    let headline = words::headline(report);
    lines.extend(wrap(&headline.sentence, ""));
    lines.extend(wrap(&headline.detail.join(" "), ""));
    if !survey.tied_to_reference {
        lines.extend(wrap(words::NOT_TIED, ""));
    }
    lines.push(String::new());
    lines.push("Do next:".to_owned());
    for (index, step) in words::do_next(report).iter().enumerate() {
        lines.extend(wrap(&format!("{}. {step}", index + 1), "   "));
    }
    if let Some(pumps) = words::pumps(survey.pumps_on) {
        lines.push(pumps.to_owned());
    }
    lines.push(String::new());
    let text = lines.join("\n").replace(words::NO_BREAK, " ");
    match glyphs {
        Glyphs::Unicode => text,
        Glyphs::Ascii => ascii(&text),
    }
}

fn row(seen: &Seen<'_>, compared: bool) -> String {
    let station = seen.value;
    let name = pad(&fit(&shown(&station.station), NAME), NAME);
    let value = station.value.map(|value| {
        format!(
            "{:>5} ± {:<4}",
            words::ppfd(value.ppfd),
            words::ppfd(TO_95 * value.u())
        )
    });
    let change = seen
        .change
        .filter(|_| compared)
        .map(|change| words::signed_percent(change.change.percent).replace(words::NO_BREAK, " "));
    let quality = if station.reasons.is_empty() {
        words::flag_phrase(station.flag).to_owned()
    } else {
        format!(
            "{}: {}",
            words::flag_phrase(station.flag),
            words::reasons_phrase(station.reasons)
        )
    };
    let line = format!(
        "{} {name} {:>12}  {}{quality}",
        seen.sign.glyph(),
        value.unwrap_or_default(),
        if compared {
            format!("{:>7}  ", change.unwrap_or_default())
        } else {
            String::new()
        },
    );
    fit(&line, WIDTH)
}

/// Columns that a text takes.
fn columns(text: &str) -> usize {
    text.chars().map(|c| if is_wide(c) { 2 } else { 1 }).sum()
}

fn pad(text: &str, width: usize) -> String {
    format!("{text}{}", " ".repeat(width.saturating_sub(columns(text))))
}

/// Cut to a width, with `…` where something is left out.
fn fit(text: &str, width: usize) -> String {
    if columns(text) <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = 0;
    for c in text.chars() {
        used += if is_wide(c) { 2 } else { 1 };
        if used >= width {
            break;
        }
        out.push(c);
    }
    out.push('…');
    out
}

/// Broken at blanks; lines after the first are indented.
fn wrap(text: &str, indent: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        if !line.trim().is_empty() && columns(&line) + 1 + columns(word) > WIDTH {
            lines.push(std::mem::replace(&mut line, indent.to_owned()));
        }
        if !line.trim().is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if !line.trim().is_empty() {
        lines.push(line);
    }
    lines
}

fn ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '±' => out.push_str("+/-"),
            '−' | '–' | '⁻' => out.push('-'),
            'µ' | 'μ' => out.push('u'),
            '¹' => out.push('1'),
            '²' => out.push('2'),
            '…' => out.push('~'),
            '“' | '”' => out.push('"'),
            '’' => out.push('\''),
            c if c.is_ascii() => out.push(c),
            c => match Sign::ALL.iter().find(|sign| sign.glyph().starts_with(c)) {
                Some(sign) => out.push_str(sign.ascii()),
                None => out.push('?'),
            },
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples::{self, Scenario};

    fn said(scenario: &Scenario, glyphs: Glyphs) -> String {
        let report = Report {
            site_name: "North room",
            tank: &scenario.tank,
            survey: &scenario.survey,
            judgement: &scenario.judgement,
            earlier: None,
            software_version: "0.1.0",
        };
        answer(&report, glyphs)
    }

    #[test]
    fn nothing_is_wider_than_eighty_columns_or_outside_ascii_where_that_is_asked() {
        for scenario in samples::all() {
            let text = said(&scenario, Glyphs::Unicode);
            assert!(text.lines().all(|line| columns(line) <= WIDTH), "{text}");
            assert!(text.chars().all(|c| c == '\n' || !crate::text_cell::is_hidden(c)));
            assert!(said(&scenario, Glyphs::Ascii).is_ascii());
        }
    }

    #[test]
    fn details_first_the_answer_last() {
        let text = said(&samples::loss(), Glyphs::Ascii);
        let at = |part: &str| {
            text.find(part)
                .unwrap_or_else(|| panic!("{part} is missing in\n{text}"))
        };
        let order = [
            at("PAR (PPFD) in umol m-2 s-1, +/- 95 %"),
            at("v w2"),
            at("x w4"),
            at("o e4"),
            at("9 of 11 places good"),
            at("Less light under the west fixture: 16 % gone since 11 October."),
            at("Do next:"),
            at("The pumps were off for this survey. Are they back on?"),
        ];
        assert!(order.is_sorted(), "{text}");
    }
}
