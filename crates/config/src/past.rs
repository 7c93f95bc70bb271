//! A tank's past: blocks that follow one another in time.

use crate::mistake::shown;
use crate::sheet::{Sheet, Span};
use crate::tank_file::Block;
use jiff::civil::Date;
use std::collections::BTreeMap;
use undim_model::{DateSpan, Dated, Inside, Tank};

/// One block of a tank's file and the days for which it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Epoch {
    /// `inside`, `frame`, `fixture`, `scene`, `station` or `coral`.
    pub block: &'static str,
    /// Its id; empty for `inside`.
    pub id: String,
    /// When it holds.
    pub span: DateSpan,
}

impl Epoch {
    /// True where it has no first day: editing it changes the whole past before the next block of its id.
    pub fn reaches_into_the_past(&self) -> bool {
        self.span.from.is_none()
    }
}

/// A tank's blocks in the order of the formats, those of one id by their first day.
pub fn timeline(tank: &Tank) -> Vec<Epoch> {
    let mut epochs: Vec<Epoch> = tank
        .inside
        .iter()
        .map(|inside| Epoch {
            block: "inside",
            id: String::new(),
            span: inside.span,
        })
        .collect();
    epochs.sort_by_key(|epoch| epoch.span.from);
    add(&mut epochs, "frame", &tank.frames);
    add(&mut epochs, "fixture", &tank.fixtures);
    add(&mut epochs, "scene", &tank.scenes);
    add(&mut epochs, "station", &tank.stations);
    add(&mut epochs, "coral", &tank.corals);
    epochs
}

fn add<T: Dated>(epochs: &mut Vec<Epoch>, block: &'static str, blocks: &[T]) {
    let mut of_kind: Vec<Epoch> = blocks
        .iter()
        .map(|dated| Epoch {
            block,
            id: dated.id().to_owned(),
            span: dated.span(),
        })
        .collect();
    let first = |id: &str| blocks.iter().position(|dated| dated.id() == id);
    of_kind.sort_by_key(|epoch| (first(&epoch.id), epoch.span.from));
    epochs.extend(of_kind);
}

/// The days that two spans share.
pub(crate) fn common_days(a: DateSpan, b: DateSpan) -> Option<DateSpan> {
    // An open beginning is before every date: `None` sorts first, as wanted.
    let from = a.from.max(b.from);
    let until = match (a.until, b.until) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    };
    let empty = matches!((from, until), (Some(from), Some(until)) if until < from);
    (!empty).then_some(DateSpan { from, until })
}

/// Says where blocks of one id hold on the same days.
pub(crate) fn check<T: Dated>(sheet: &Sheet, noun: &str, blocks: &[Block<T>]) {
    let mut by_id: BTreeMap<&str, Vec<_>> = BTreeMap::new();
    for block in blocks {
        let dated = (block.value.span(), &block.id_span);
        by_id.entry(block.value.id()).or_default().push(dated);
    }
    for (id, blocks) in by_id {
        compare_all(sheet, &format!("{noun} `{}`", shown(id)), blocks);
    }
}

/// The same for `[[inside]]`, which has no id.
pub(crate) fn check_insides(sheet: &Sheet, blocks: &[Block<Inside>]) {
    let blocks = blocks.iter().map(|block| (block.value.span, &block.id_span));
    compare_all(sheet, "`inside`", blocks.collect());
}

/// Says where a block that holds again later leaves days on which none of its id holds.
fn tell_gaps(sheet: &Sheet, name: &str, blocks: &[(DateSpan, &Span)]) {
    let mut last: Option<Date> = None;
    for (number, (span, place)) in blocks.iter().enumerate() {
        if number > 0
            && let (Some(until), Some(from)) = (last, span.from)
            && let (Ok(first), Ok(end)) = (until.tomorrow(), from.yesterday())
            && first <= end
        {
            sheet.note(
                place,
                format!("no {name} holds from {first} until {end}"),
                "where one did hold then, move `until` or `from`; both days count",
            );
        }
        // An open end holds for ever.
        let Some(until) = span.until else { return };
        last = last.max(Some(until));
    }
}

/// In the order of their first days it is enough to look at neighbours: a block that reaches to one
/// further on reaches to those between too.
fn compare_all(sheet: &Sheet, name: &str, mut blocks: Vec<(DateSpan, &Span)>) {
    blocks.sort_by_key(|(span, place)| (span.from, span.until, place.start));
    tell_gaps(sheet, name, &blocks);
    for pair in blocks.windows(2) {
        if let [one, other] = pair {
            let (first, second) = if one.1.start < other.1.start {
                (one, other)
            } else {
                (other, one)
            };
            compare(sheet, name, first, second);
        }
    }
}

fn compare(sheet: &Sheet, name: &str, first: &(DateSpan, &Span), second: &(DateSpan, &Span)) {
    let Some(common) = common_days(first.0, second.0) else {
        return;
    };
    let (line, _) = sheet.place(first.1.start);
    let span = second.1;
    if first.0 == second.0 {
        sheet.mistake(
            span,
            format!("{name} stands twice for the same days; the other is on line {line}"),
            "give one of them another id, or `from` and `until`",
        );
    } else if first.0.from == second.0.from {
        sheet.warn(
            span,
            format!(
                "{name} stands twice {}, and both begin on the same day; the other is on line {line}",
                days(common)
            ),
            "give the newer one `from`, the day on which it began to hold",
        );
    } else {
        let (older, newer) = if first.0.from < second.0.from {
            (first, second)
        } else {
            (second, first)
        };
        let from = newer.0.from.map_or_else(String::new, |from| format!(" ({from})"));
        let past = if older.0.from.is_none() {
            "; the one without `from` is the past's: editing it changes the past too"
        } else {
            ""
        };
        sheet.note(
            older.1,
            format!(
                "{name} stands twice {}; the one with the later `from`{from} holds{past}",
                days(common)
            ),
            "write `until` in the older one, the last day on which it held",
        );
    }
}

fn days(span: DateSpan) -> String {
    let shown = |date: Date| date.to_string();
    match (span.from, span.until) {
        (Some(from), Some(until)) => format!("from {} until {}", shown(from), shown(until)),
        (Some(from), None) => format!("from {} on", shown(from)),
        (None, Some(until)) => format!("up to {}", shown(until)),
        (None, None) => "for every day".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn shared_days() {
        let span = |from, until| DateSpan { from, until };
        let may = date(2026, 5, 1);
        let june = date(2026, 6, 1);
        assert_eq!(
            common_days(span(None, Some(may)), span(Some(may), None)),
            Some(span(Some(may), Some(may)))
        );
        assert_eq!(common_days(span(None, Some(may)), span(Some(june), None)), None);
        assert_eq!(
            common_days(DateSpan::ALWAYS, DateSpan::ALWAYS),
            Some(DateSpan::ALWAYS)
        );
    }
}
