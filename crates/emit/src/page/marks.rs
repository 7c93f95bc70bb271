//! Stations on a drawing: signs, labels, and the list of numbers for what finds no room.
//!
//! Places that lie one behind another in a view share one sign, the weightiest, and stand in the list by
//! their numbers. A station has the same number in both views.

use super::label::{Anchor, Place, Placer, Rect, text_width};
use crate::Report;
use crate::number::short as f;
use crate::sign::{Seen, Sign, is_compared};
use crate::text_cell::shown;
use crate::words;
use maud::{Markup, html};

/// Size of a label's text.
pub(super) const TEXT: f64 = 11.0;
/// Height of one of its lines.
pub(super) const LINE: f64 = 13.0;
const SMALL: f64 = 10.0;
/// Half a sign, with a little room.
const HALF_SIGN: f64 = 6.5;
/// Signs nearer than this would cover one another.
const APART: f64 = 10.0;
/// More places than this get no name on the drawing; the table has them all.
const MOST_LABELS: usize = 120;
/// More places than this are not drawn at all.
const MOST_MARKS: usize = 1500;
/// Longer names are cut on the drawing.
const LONGEST_NAME: usize = 16;

/// A station that can be drawn.
pub(super) struct Mark<'a> {
    seen: &'a Seen<'a>,
    /// From left, bottom, front.
    pub(super) cm: [f64; 3],
    name: String,
    /// Value and change.
    figures: String,
    /// The value alone, for where there is less room.
    value: String,
    number: Option<usize>,
}

/// All stations with a position.
pub(super) fn marks<'a>(report: &Report<'_>, seen: &'a [Seen<'a>]) -> Vec<Mark<'a>> {
    let compared = is_compared(report);
    seen.iter()
        .filter_map(|seen| {
            let position = seen.value.position.filter(|position| position.is_finite())?;
            Some(Mark {
                seen,
                cm: position.to_array(),
                name: shorten(&shown(&seen.value.station)),
                figures: figures(seen, compared),
                // For a place to read again its sign says enough.
                value: if seen.sign == Sign::Again {
                    String::new()
                } else {
                    figures(seen, false)
                },
                number: None,
            })
        })
        .take(MOST_MARKS)
        .collect()
}

fn figures(seen: &Seen<'_>, compared: bool) -> String {
    let changed = seen
        .change
        .filter(|_| compared && matches!(seen.sign, Sign::Less | Sign::More));
    match (seen.value.value, changed) {
        _ if seen.sign == Sign::Again => "read again".to_owned(),
        (Some(value), Some(change)) => format!(
            "{} {}",
            words::ppfd(value.ppfd),
            words::signed_percent(change.change.percent)
        ),
        (Some(value), None) => words::ppfd(value.ppfd),
        (None, _) => String::new(),
    }
}

pub(super) fn shorten(name: &str) -> String {
    let mut short: String = name.chars().take(LONGEST_NAME).collect();
    if name.chars().count() > LONGEST_NAME {
        short.pop();
        short.push('…');
    }
    short
}

/// One view's signs and labels.
pub(super) struct View {
    bounds: Rect,
    groups: Vec<Group>,
}

/// One sign, for one station or for several that lie one behind another.
struct Group {
    at: (f64, f64),
    members: Vec<usize>,
    label: Option<Place>,
    /// What stands in the label's second line.
    figures: String,
}

impl View {
    /// Places signs and labels; labels avoid the given lines where there is another way.
    pub(super) fn new(
        marks: &[Mark<'_>],
        bounds: Rect,
        at: impl Fn(&Mark<'_>) -> (f64, f64),
        with_figures: bool,
        lines: &[Rect],
    ) -> Self {
        let mut view = Self {
            bounds,
            groups: grouped(marks, at),
        };
        let mut placer = Placer::new(bounds);
        for group in &view.groups {
            placer.take(Rect::around(group.at.0, group.at.1, HALF_SIGN));
        }
        for line in lines {
            placer.avoid(*line);
        }
        let mut order: Vec<usize> = (0..view.groups.len()).collect();
        order.sort_by_key(|index| (sign_of(&view.groups[*index], marks), *index));
        for index in order.into_iter().take(MOST_LABELS) {
            let group = &mut view.groups[index];
            let [only] = group.members.as_slice() else {
                continue;
            };
            let mark = &marks[*only];
            let seconds: &[&str] = if with_figures {
                &[&mark.figures, &mark.value]
            } else {
                &[""]
            };
            for figures in seconds {
                let width = text_width(&mark.name, TEXT, true).max(text_width(figures, TEXT, false));
                let height = if figures.is_empty() { LINE } else { 2.0 * LINE };
                if let Some(place) = placer.place(group.at.0, group.at.1, width, height) {
                    group.label = Some(place);
                    (*figures).clone_into(&mut group.figures);
                    break;
                }
            }
        }
        view
    }

    fn unlabelled(&self) -> impl Iterator<Item = usize> {
        self.groups
            .iter()
            .filter(|group| group.label.is_none())
            .flat_map(|group| group.members.iter().copied())
    }

    /// True where several places share a sign.
    pub(super) fn has_groups(&self) -> bool {
        self.groups.iter().any(|group| group.members.len() > 1)
    }

    /// Numbers for the signs that found no room for their label, where at least those fit.
    fn numbers(&self, marks: &[Mark<'_>]) -> Vec<Option<(String, Place)>> {
        let mut placer = Placer::new(self.bounds);
        for group in &self.groups {
            placer.take(Rect::around(group.at.0, group.at.1, HALF_SIGN));
            if let Some(label) = group.label {
                placer.take(label.rect);
            }
        }
        self.groups
            .iter()
            .map(|group| {
                if group.label.is_some() {
                    return None;
                }
                let text = ranges(group.members.iter().filter_map(|index| marks[*index].number));
                let width = text_width(&text, SMALL, false);
                let place = placer.place(group.at.0, group.at.1, width, SMALL + 1.0)?;
                Some((text, place))
            })
            .collect()
    }

    /// The drawing itself.
    pub(super) fn markup(&self, marks: &[Mark<'_>]) -> Markup {
        html! {
            @for (group, number) in self.groups.iter().zip(self.numbers(marks)) {
                @let sign = sign_of(group, marks);
                g class=(format!("sign {}", sign.class())) {
                    title { (title(group, marks)) }
                    (shape(sign, group.at.0, group.at.1))
                }
                @if let (Some(place), [only]) = (group.label, group.members.as_slice()) {
                    text.name x=(f(place.x())) y=(f(place.rect.top + LINE - 3.0)) text-anchor=(anchor(place.anchor)) { (marks[*only].name) }
                    @if !group.figures.is_empty() {
                        text.figure x=(f(place.x())) y=(f(place.rect.top + 2.0 * LINE - 3.0)) text-anchor=(anchor(place.anchor)) { (group.figures) }
                    }
                } @else if let Some((text, place)) = number {
                    text.number x=(f(place.x())) y=(f(place.rect.bottom - 2.0)) text-anchor=(anchor(place.anchor)) { (text) }
                }
            }
        }
    }
}

fn grouped(marks: &[Mark<'_>], at: impl Fn(&Mark<'_>) -> (f64, f64)) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (index, mark) in marks.iter().enumerate() {
        let (x, y) = at(mark);
        let near = |group: &&mut Group| (group.at.0 - x).hypot(group.at.1 - y) < APART;
        match groups.iter_mut().find(near) {
            Some(group) => group.members.push(index),
            None => groups.push(Group {
                at: (x, y),
                members: vec![index],
                label: None,
                figures: String::new(),
            }),
        }
    }
    groups
}

fn sign_of(group: &Group, marks: &[Mark<'_>]) -> Sign {
    let signs = group.members.iter().map(|index| marks[*index].seen.sign);
    signs.min().unwrap_or(Sign::Same)
}

fn title(group: &Group, marks: &[Mark<'_>]) -> String {
    let each = group.members.iter().map(|index| {
        let mark = &marks[*index];
        format!("{} {}", shown(&mark.seen.value.station), mark.figures)
            .trim_end()
            .to_owned()
    });
    each.collect::<Vec<_>>().join("; ")
}

/// Gives a number to every station that lacks its label in a view; in written order.
pub(super) fn give_numbers(marks: &mut [Mark<'_>], views: &[&View]) {
    let mut lacking: Vec<usize> = views.iter().flat_map(|view| view.unlabelled()).collect();
    lacking.sort_unstable();
    lacking.dedup();
    for (number, index) in lacking.into_iter().enumerate() {
        marks[index].number = Some(number + 1);
    }
}

/// "1–3 7": numbers in their order, runs drawn together.
pub(super) fn ranges(numbers: impl Iterator<Item = usize>) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == number => *last = number,
            _ => runs.push((number, number)),
        }
    }
    let text = runs.into_iter().map(|(first, last)| match last - first {
        0 => first.to_string(),
        1 => format!("{first} {last}"),
        _ => format!("{first}–{last}"),
    });
    text.collect::<Vec<_>>().join(" ")
}

fn anchor(anchor: Anchor) -> &'static str {
    match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    }
}

/// A sign's shape, about ten units across.
pub(super) fn shape(sign: Sign, x: f64, y: f64) -> Markup {
    let at = |dx: f64, dy: f64| format!("{} {}", f(x + dx), f(y + dy));
    html! {
        @match sign {
            Sign::Less => path d=(format!("M{}L{}L{}Z", at(-5.5, -4.5), at(5.5, -4.5), at(0.0, 5.0))) {},
            Sign::More => path d=(format!("M{}L{}L{}Z", at(-5.5, 4.5), at(5.5, 4.5), at(0.0, -5.0))) {},
            Sign::Same => circle cx=(f(x)) cy=(f(y)) r="4.2" {},
            Sign::Again => path d=(format!("M{}L{}M{}L{}", at(-4.5, -4.5), at(4.5, 4.5), at(4.5, -4.5), at(-4.5, 4.5))) {},
        }
    }
}

/// A sign to stand in running text.
pub(super) fn inline_sign(sign: Sign) -> Markup {
    html! {
        svg.inline viewBox="0 0 14 14" aria-hidden="true" {
            g class=(format!("sign {}", sign.class())) { (shape(sign, 7.0, 7.0)) }
        }
    }
}

/// A sign that stands alone, told to whoever reads with the ears.
pub(super) fn named_sign(sign: Sign, compared: bool) -> Markup {
    html! {
        svg.inline viewBox="0 0 14 14" role="img" aria-label=(sign.meaning(compared)) {
            g class=(format!("sign {}", sign.class())) { (shape(sign, 7.0, 7.0)) }
        }
    }
}

/// What the signs mean.
pub(super) fn legend(seen: &[Seen<'_>], compared: bool) -> Markup {
    html! {
        ul.legend {
            @for sign in Sign::ALL {
                @if compared || seen.iter().any(|seen| seen.sign == sign) {
                    li { (inline_sign(sign)) (sign.meaning(compared)) }
                }
            }
        }
    }
}

/// The stations behind the numbers.
pub(super) fn numbered(marks: &[Mark<'_>]) -> Markup {
    let listed = || marks.iter().filter(|mark| mark.number.is_some());
    html! {
        @if listed().next().is_some() {
            ol.numbered {
                @for mark in listed() {
                    li {
                        span.number { (mark.number.unwrap_or_default()) } " "
                        (inline_sign(mark.seen.sign)) b { (mark.name) } " " (mark.figures)
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_of_numbers_are_drawn_together() {
        assert_eq!(ranges([1, 2, 3, 7].into_iter()), "1–3 7");
        assert_eq!(ranges([4, 5].into_iter()), "4 5");
        assert_eq!(ranges([].into_iter()), "");
    }

    #[test]
    fn long_names_are_cut() {
        assert_eq!(shorten("abcdefghijklmnop"), "abcdefghijklmnop");
        assert_eq!(shorten("abcdefghijklmnopq"), "abcdefghijklmno…");
    }
}
