//! One survey on a terminal: details first, the answer last, no line wider than the terminal.

use crate::corals::TO_95;
use crate::page::facts::facts;
use crate::page::label::is_wide;
use crate::sign::{Seen, Sign, is_compared, seen};
use crate::text_cell::shown;
use crate::{Report, words};
use undim_model::{Flag, StationValue};

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

/// A terminal: what it can show, and how much of it in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Screen {
    /// What it can show.
    pub glyphs: Glyphs,
    /// Columns; nothing is wider, long names and paths excepted.
    pub width: usize,
}

impl Screen {
    /// A text as this terminal can show it.
    pub fn text(&self, text: &str) -> String {
        let text = text.replace(words::NO_BREAK, " ");
        match self.glyphs {
            Glyphs::Unicode => text,
            Glyphs::Ascii => ascii(&text),
        }
    }

    /// Broken at blanks; the first line begins with one indent, the others with the other.
    pub fn wrapped(&self, text: &str, first: &str, others: &str) -> String {
        wrap(&self.text(text), first, others, self.width).join("\n")
    }

    /// As much of a text as these columns hold; what was cut shows by its end.
    pub fn fit(&self, text: &str, width: usize) -> String {
        let text = self.text(text);
        if columns(&text) <= width {
            return text;
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
        out + &self.text("…")
    }
}

/// Which survey this is.
pub fn title(report: &Report<'_>, screen: &Screen) -> String {
    let survey = report.survey;
    let revision = match survey.revision {
        1 => String::new(),
        revision => format!(", revision {revision}"),
    };
    screen.fit(
        &format!(
            "{}, {} (survey {}{revision})",
            shown(&report.tank.name),
            words::day_and_year(survey.date),
            shown(&survey.id)
        ),
        screen.width,
    )
}

/// Every place with its value and its change, lines ended by `\n`.
pub fn table(report: &Report<'_>, screen: &Screen) -> String {
    let seen = seen(report);
    if seen.is_empty() {
        return screen.text("No place has a value.\n");
    }
    let name = |seen: &Seen<'_>| screen.fit(&shown(&seen.value.station), NAME);
    let width = seen
        .iter()
        .map(|seen| columns(&name(seen)))
        .max()
        .unwrap_or(0)
        .max(5);
    let compared = is_compared(report);
    let plus_minus = columns(&screen.text("±"));
    let mut head = format!(
        "  {} {:>6} {:>width$}",
        pad("place", width),
        "PPFD",
        "",
        width = plus_minus + 4
    );
    if compared {
        head += &format!(" {:>8}  {:>16}", "change %", "95 %");
    }
    let mut out = screen.wrapped(
        "PAR (PPFD) in µmol m⁻² s⁻¹; ± and intervals hold with 95 % confidence",
        "",
        "",
    );
    out.push('\n');
    out += head.trim_end();
    out.push('\n');
    for seen in &seen {
        out += &row(seen, &pad(&name(seen), width), compared, screen);
        out.push('\n');
    }
    out
}

fn row(seen: &Seen<'_>, name: &str, compared: bool, screen: &Screen) -> String {
    let station = seen.value;
    let sign = match screen.glyphs {
        Glyphs::Unicode => seen.sign.glyph(),
        Glyphs::Ascii => seen.sign.ascii(),
    };
    let value = station.value.map_or_else(
        || format!("{:>6} {} {:<3}", "", " ".repeat(columns(&screen.text("±"))), ""),
        |value| {
            let (value, half) = words::ppfd_and_interval(value.ppfd, TO_95 * value.u());
            screen.text(&format!("{value:>6} ± {half:<3}"))
        },
    );
    let change = seen.change.map(|change| change.change).filter(|_| compared);
    let change = match change {
        Some(change) => screen.text(&format!(
            " {:>8}  {:>16}",
            words::table_percent(change.percent),
            words::table_interval(change.ci95)
        )),
        None if compared => format!(" {:>8}  {:>16}", "", ""),
        None => String::new(),
    };
    let mut line = format!("{sign} {name} {value}{change}");
    let quality = quality(station);
    if !quality.is_empty() {
        line = format!("{line}  {}", screen.text(&quality));
    }
    screen.fit(line.trim_end(), screen.width)
}

/// What was assumed or moved on the way in, a line or two each; nothing where nothing was.
pub fn said(report: &Report<'_>, screen: &Screen) -> String {
    const MOST: usize = 5;
    let said = &report.survey.said;
    let mut lines: Vec<String> = said
        .iter()
        .take(MOST)
        .map(|line| screen.wrapped(&shown(line), "  ", "    ") + "\n")
        .collect();
    if said.len() > MOST {
        lines.push(format!("  {} more on the page\n", said.len() - MOST));
    }
    lines.concat()
}

/// Nothing for what is plainly good.
fn quality(station: &StationValue) -> String {
    match (station.flag, station.reasons.is_empty()) {
        (Flag::Good, true) => String::new(),
        (Flag::Good, false) => words::reasons_phrase(station.reasons),
        (flag, true) => words::flag_phrase(flag).to_owned(),
        (flag, false) => format!(
            "{}: {}",
            words::flag_phrase(flag),
            words::reasons_phrase(station.reasons)
        ),
    }
}

/// A survey in a line or two: its id and what it comes down to.
pub fn brief(report: &Report<'_>, screen: &Screen) -> String {
    let text = format!(
        "{}: {}",
        shown(&report.survey.id),
        words::headline(report).sentence
    );
    screen.wrapped(&text, "  ", "    ")
}

/// The answer, lines ended by `\n`; the caller adds the path of the page.
pub fn answer(report: &Report<'_>, screen: &Screen) -> String {
    let mut lines: Vec<String> = Vec::new();
    for fact in facts(report) {
        lines.push(screen.wrapped(&format!("{}: {}.", fact.what, fact.more), "", "    "));
    }
    lines.push(String::new());
    let headline = words::headline(report);
    lines.push(screen.wrapped(&headline.sentence, "", ""));
    lines.push(screen.wrapped(&headline.detail.join(" "), "", ""));
    if !report.survey.tied_to_reference {
        lines.push(screen.wrapped(words::NOT_TIED, "", ""));
    }
    lines.push(String::new());
    let steps = words::do_next(report);
    if let [only] = steps.as_slice() {
        lines.push(screen.wrapped(&format!("Do next: {}", words::lower_first(only)), "", "    "));
    } else {
        lines.push("Do next:".to_owned());
        for (index, step) in steps.iter().enumerate() {
            lines.push(screen.wrapped(step, &format!("{:>2}. ", index + 1), "    "));
        }
    }
    if let Some(pumps) = words::pumps(report.survey.pumps_on) {
        lines.push(String::new());
        lines.push(screen.text(pumps));
    }
    lines.push(String::new());
    lines.join("\n")
}

/// Columns that a text takes.
pub fn columns(text: &str) -> usize {
    text.chars().map(|c| if is_wide(c) { 2 } else { 1 }).sum()
}

fn pad(text: &str, width: usize) -> String {
    format!("{text}{}", " ".repeat(width.saturating_sub(columns(text))))
}

/// Broken at blanks.
pub(crate) fn wrap(text: &str, first: &str, others: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = first.to_owned();
    let mut is_empty = true;
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        if !is_empty && columns(&line) + 1 + columns(word) > width {
            lines.push(std::mem::replace(&mut line, others.to_owned()));
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
        is_empty = false;
    }
    if !is_empty {
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
            '·' => out.push('|'),
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

    const WIDTH: usize = 80;

    fn said(scenario: &Scenario, glyphs: Glyphs) -> String {
        let report = Report {
            site_name: "North room",
            tank: &scenario.tank,
            survey: &scenario.survey,
            judgement: &scenario.judgement,
            earlier: None,
            side_by_side: &[],
            in_site: true,
            software_version: "0.1.0",
        };
        let screen = Screen { glyphs, width: WIDTH };
        [
            title(&report, &screen) + "\n",
            table(&report, &screen),
            answer(&report, &screen),
            brief(&report, &screen),
        ]
        .concat()
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
            at("PAR (PPFD) in umol m-2 s-1; +/- and intervals hold with 95 % confidence"),
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
