//! Deciding which columns make the time and how it is written, or asking.

use super::Trouble;
use super::sample::Sample;
use crate::datetime::format::{Format, Item};
use crate::datetime::order::{self, Candidate, Clock, Hints, Leaning, Order, Verdict};
use crate::datetime::{DAY, day_of, micros};
use crate::names::{self, Named, Part as DatePart, Role, Strength};
use crate::plan::{Cells, Part};
use undim_sdk::Failure;

/// How the time comes about.
#[derive(Debug)]
pub(crate) struct Timing {
    pub(crate) columns: Vec<usize>,
    pub(crate) clock: Clock,
    pub(crate) order: Order,
    /// The order was not proved by a cell.
    pub(crate) order_assumed: bool,
    pub(crate) rivals: Vec<Clock>,
}

impl Timing {
    pub(crate) fn cells(&self) -> Cells {
        Cells {
            parts: self.columns.iter().map(|at| Part::Column(*at)).collect(),
            pick: None,
        }
    }
}

/// What a column's cells tell of a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Tells {
    Nothing,
    Date,
    TimeOfDay,
    Both,
}

fn tells(verdict: &Verdict) -> Tells {
    let clock = match verdict {
        Verdict::None => return Tells::Nothing,
        Verdict::Found(candidate) => &candidate.clock,
        Verdict::Ambiguous(candidates) => match candidates.first() {
            Some(candidate) => &candidate.clock,
            None => return Tells::Nothing,
        },
    };
    match clock {
        Clock::Format(format) => match (format.has_date(), format.has_hour()) {
            (true, true) => Tells::Both,
            (true, false) => Tells::Date,
            (false, _) => Tells::TimeOfDay,
        },
        // Whole days are a date.
        Clock::Serial { .. } | Clock::SinceStart(_) => Tells::Both,
    }
}

/// Finds the time among the named columns. `Ok(None)` where there is none.
pub(crate) fn find(
    sample: &Sample,
    named: &[Option<Named>],
    titles: &[String],
    hints: Hints,
) -> Result<Option<Timing>, Trouble> {
    let of_strength = |exact: bool| -> Vec<usize> {
        let fits =
            |named: &Named| named.role == Role::Time && (named.strength != Strength::Contains) == exact;
        (0..named.len())
            .filter(|at| named[*at].as_ref().is_some_and(fits))
            .collect()
    };
    let mut columns = of_strength(true);
    columns.retain(|at| sample.columns.get(*at).is_some_and(|column| column.filled > 0));
    if columns.is_empty() {
        columns = of_strength(false);
    }
    let mut told: Vec<(usize, Tells)> = columns
        .iter()
        .map(|at| {
            (
                *at,
                tells(&verdict(sample, &[*at], with_leaning(hints, titles.get(*at)))),
            )
        })
        .collect();
    // Plain numbers may count seconds since a start; anything else under such a name should be a time.
    if let Some((at, _)) = told
        .iter()
        .find(|(at, tells)| *tells == Tells::Nothing && !sample.columns[*at].is_numeric())
    {
        return Err(no_time(sample, *at, titles, with_leaning(hints, titles.get(*at))).into());
    }
    told.retain(|(_, tells)| *tells != Tells::Nothing);
    let all = |wanted: Tells| {
        told.iter()
            .filter(|(_, tells)| *tells == wanted)
            .map(|(at, _)| *at)
            .collect::<Vec<_>>()
    };
    let (both, dates, times) = (all(Tells::Both), all(Tells::Date), all(Tells::TimeOfDay));
    let parts = date_parts(sample, named, &dates, &times);
    match (both.as_slice(), dates.as_slice(), times.as_slice()) {
        ([one], _, _) => settle(sample, &[*one], titles, hints).map(Some),
        ([], [date], [time]) => settle(sample, &[*date, *time], titles, hints).map(Some),
        ([], _, _) if parts.is_some() => parts.map_or(Ok(None), |(columns, base)| {
            from_parts(sample, columns, base, titles, hints).map(Some)
        }),
        ([], [date], []) => settle(sample, &[*date], titles, hints).map(Some),
        ([], [], [time]) => settle(sample, &[*time], titles, hints).map(Some),
        ([], [], []) => Ok(None),
        (several, dates, times) => {
            let which: Vec<usize> = [several, dates, times].concat();
            // Columns that say the same in every row leave nothing to ask.
            if let ([first, rest @ ..], [], []) = (several, dates, times)
                && rest
                    .iter()
                    .all(|at| sample.columns[*at].cells == sample.columns[*first].cells)
            {
                return settle(sample, &[*first], titles, hints).map(Some);
            }
            Err(ask_which("time", &which, titles))
        }
    }
}

/// A column without a name we know that holds nothing but date and time, if it is the only one.
pub(crate) fn unnamed(
    sample: &Sample,
    free: &[usize],
    titles: &[String],
    hints: Hints,
) -> Result<Option<Timing>, Trouble> {
    let full: Vec<usize> = free
        .iter()
        .copied()
        .filter(|at| {
            let column = &sample.columns[*at];
            !column.is_numeric()
                && column.filled * 10 >= sample.rows * 9
                && tells(&verdict(sample, &[*at], hints)) == Tells::Both
        })
        .collect();
    match full.as_slice() {
        [one] => settle(sample, &[*one], titles, hints).map(Some),
        [] => Ok(None),
        several => Err(ask_which("time", several, titles)),
    }
}

fn with_leaning(hints: Hints, title: Option<&String>) -> Hints {
    let Some(title) = title else { return hints };
    let words = names::words(title);
    let has = |list: &str| {
        words
            .iter()
            .any(|word| list.split(' ').any(|known| known == word))
    };
    let date = has(
        "date datum fecha data dato dates day tag jour dia giorno dzien \u{65e5}\u{4ed8} \u{65e5}\u{671f} \u{5e74}\u{6708}\u{65e5}",
    );
    let time = has(
        "time zeit uhrzeit heure hora ora orario tid tijd czas cas godzina klockslag \u{6642}\u{523b} \u{65f6}\u{95f4} \u{6642}\u{9593}",
    );
    let leaning = match (date, time) {
        (true, false) => Some(Leaning::Date),
        (false, true) if !has("stamp local utc iso") => Some(Leaning::TimeOfDay),
        _ => None,
    };
    // `Time` often heads date and time together: it only leans where the cells leave a choice.
    Hints {
        leaning,
        stated: order::hint(title).or(hints.stated),
        ..hints
    }
}

/// The cells of some columns, joined row by row; rows in which one is missing are left out.
fn joined(sample: &Sample, columns: &[usize]) -> Vec<String> {
    let rows = columns
        .iter()
        .filter_map(|at| sample.columns.get(*at))
        .map(|column| column.cells.len())
        .min()
        .unwrap_or(0);
    (0..rows)
        .filter_map(|row| {
            let cells: Vec<&str> = columns
                .iter()
                .map(|at| sample.columns[*at].cells[row].as_str())
                .collect();
            (!cells.iter().any(|cell| cell.is_empty())).then(|| cells.join(" "))
        })
        .collect()
}

fn verdict(sample: &Sample, columns: &[usize], hints: Hints) -> Verdict {
    let texts = joined(sample, columns);
    let cells: Vec<&str> = texts.iter().map(String::as_str).collect();
    order::find(&cells, hints)
}

/// Settles how the cells of these columns, joined, are read.
pub(crate) fn settle(
    sample: &Sample,
    columns: &[usize],
    titles: &[String],
    hints: Hints,
) -> Result<Timing, Trouble> {
    let texts = joined(sample, columns);
    let cells: Vec<&str> = texts.iter().map(String::as_str).collect();
    let hints = match columns {
        [one] => with_leaning(hints, titles.get(*one)),
        several => {
            let stated = several
                .iter()
                .filter_map(|at| titles.get(*at))
                .find_map(|title| order::hint(title));
            Hints {
                stated: stated.or(hints.stated),
                leaning: None,
                ..hints
            }
        }
    };
    let name = title(columns, titles);
    match order::find(&cells, hints) {
        Verdict::Found(candidate) => {
            let rivals = rivals(&candidate, &cells, hints);
            Ok(Timing {
                columns: columns.to_vec(),
                order: candidate.order,
                order_assumed: !rivals.is_empty(),
                clock: candidate.clock,
                rivals,
            })
        }
        Verdict::Ambiguous(candidates) => by_midnight(columns, candidates, &cells, &name),
        Verdict::None => Err(no_time(sample, columns.first().copied().unwrap_or(0), titles, hints).into()),
    }
}

/// The refusal of a column whose cells are no times, or not all of one kind: the first cell that shows it is named.
fn no_time(sample: &Sample, at: usize, titles: &[String], hints: Hints) -> Failure {
    let Some(column) = sample.columns.get(at) else {
        return Failure::unusable(0, 0, "there is no time");
    };
    let (first, first_line) = column.first();
    let (mut shown, mut line, mut why) = (first, first_line, "is no time known here");
    // Times of day need some day to be read.
    let some_day = Some(day_of(0));
    if let Verdict::Found(candidate) = order::find(&[first], hints)
        && let Some((cell, at)) = column
            .distinct
            .iter()
            .find(|(cell, _)| candidate.clock.read(cell, some_day).is_none())
    {
        (shown, line, why) = (cell.as_str(), *at, "is not written like the times before it");
    }
    let text = format!(
        "\"{shown}\" in {} {why}; give its `format` in a layout",
        title(&[at], titles)
    );
    Failure::unusable(line, at as u32 + 1, text)
}

/// Orders that fit every cell as well, so that only custom spoke for the one found.
fn rivals(found: &Candidate, cells: &[&str], hints: Hints) -> Vec<Clock> {
    let without = Hints {
        day_first: false,
        year_first: false,
        stated: None,
        ..hints
    };
    match order::find(cells, without) {
        Verdict::Ambiguous(candidates) => candidates
            .into_iter()
            .map(|other| other.clock)
            .filter(|clock| *clock != found.clock)
            .collect(),
        _ => Vec::new(),
    }
}

fn by_midnight(
    columns: &[usize],
    mut candidates: Vec<Candidate>,
    cells: &[&str],
    name: &str,
) -> Result<Timing, Trouble> {
    let readings: Vec<Vec<Option<i64>>> = candidates
        .iter()
        .map(|candidate| {
            cells
                .iter()
                .map(|cell| candidate.clock.read(cell, None).map(micros))
                .collect()
        })
        .collect();
    if let Some(at) = order::runs_through_midnight(&readings) {
        let found = candidates.remove(at);
        return Ok(Timing {
            columns: columns.to_vec(),
            clock: found.clock,
            order: found.order,
            order_assumed: true,
            rivals: candidates.into_iter().map(|other| other.clock).collect(),
        });
    }
    // The first cell that they read differently shows the choice best.
    let differs = |cell: &&&str| {
        let first = candidates
            .first()
            .and_then(|candidate| candidate.clock.read(cell, None));
        candidates
            .iter()
            .any(|candidate| candidate.clock.read(cell, None) != first)
    };
    let example = cells
        .iter()
        .find(differs)
        .or(cells.first())
        .copied()
        .unwrap_or("");
    let choices: Vec<String> = candidates
        .iter()
        .map(|candidate| {
            let shown = candidate
                .clock
                .read(example, None)
                .map(|moment| in_words(micros(moment)))
                .unwrap_or_default();
            format!(
                "columns.time.format = \"{}\"  # {example} is {shown}",
                candidate.clock.text()
            )
        })
        .collect();
    let failure = Failure::question(
        format!(
            "\"{example}\" in {name} can be read in {} ways, and nothing in the file tells which is meant",
            choices.len()
        ),
        choices,
    );
    Err(Trouble {
        failure,
        more_may_help: true,
    })
}

/// `3 April 2026 10:00`.
fn in_words(micros: i64) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let day = day_of(micros.div_euclid(DAY));
    let minutes = micros.rem_euclid(DAY) / 60_000_000;
    let month = MONTHS.get(day.month as usize - 1).copied().unwrap_or("");
    let date = format!("{} {month} {}", day.day, day.year);
    if minutes == 0 {
        date
    } else {
        format!("{date} {:02}:{:02}", minutes / 60, minutes % 60)
    }
}

/// Year, month, day, hour in columns of their own, or a date and an hour.
fn date_parts(
    sample: &Sample,
    named: &[Option<Named>],
    dates: &[usize],
    times: &[usize],
) -> Option<(Vec<usize>, String)> {
    let column = |part: DatePart| {
        let fits = |at: &usize| {
            named[*at]
                .as_ref()
                .is_some_and(|named| named.role == Role::Part(part))
        };
        let mut all = (0..named.len())
            .filter(fits)
            .filter(|at| sample.columns[*at].is_numeric());
        all.next().filter(|_| all.next().is_none())
    };
    let (mut columns, mut format) = (Vec::new(), Vec::new());
    if let [date] = dates {
        if !times.is_empty() {
            return None;
        }
        columns.push(*date);
        format.push("");
    } else {
        columns.push(column(DatePart::Year)?);
        format.push("%Y");
        if let (Some(month), Some(day)) = (column(DatePart::Month), column(DatePart::Day)) {
            columns.extend([month, day]);
            format.extend(["%m", "%d"]);
        } else {
            columns.push(column(DatePart::DayOfYear)?);
            format.push("%j");
        }
        if let [time] = times {
            columns.push(*time);
            format.push("T");
            return Some((columns, format.join(" ")));
        }
    }
    if let Some(hour) = column(DatePart::Hour) {
        columns.push(hour);
        let minute = column(DatePart::Minute);
        // Hours beyond 24 are hours and minutes run together.
        let together = sample.columns[hour]
            .distinct
            .iter()
            .any(|(cell, _)| cell.parse().is_ok_and(|hour: f64| hour > 24.0));
        format.push(if together && minute.is_none() {
            "%H%M"
        } else {
            "%H"
        });
        if let Some(minute) = minute {
            columns.push(minute);
            format.push("%M");
            if let Some(second) = column(DatePart::Second) {
                columns.push(second);
                format.push("%S");
            }
        }
    } else if !dates.is_empty() {
        return None;
    }
    Some((columns, format.join(" ")))
}

/// Puts the format of a date in parts together.
fn from_parts(
    sample: &Sample,
    columns: Vec<usize>,
    base: String,
    titles: &[String],
    hints: Hints,
) -> Result<Timing, Trouble> {
    let (mut text, mut order, mut rivals) = (base, Order::Clear, Vec::new());
    if let Some(tail) = text.strip_prefix(' ').map(str::to_owned) {
        // A date in one column, the hour in another.
        let date = settle(sample, columns.get(..1).unwrap_or_default(), titles, hints)?;
        text = format!("{} {tail}", date.clock.text());
        order = date.order;
        rivals = date.rivals;
    } else if let (Some(head), Some(time)) = (text.strip_suffix(" T").map(str::to_owned), columns.last()) {
        let time = settle(sample, &[*time], titles, hints)?;
        text = format!("{head} {}", time.clock.text());
    }
    let format = Format::new(&text).map_err(|why| Failure::unusable(0, 0, why))?;
    let short = format.items.contains(&Item::Year)
        && columns.first().is_some_and(|at| {
            sample.columns[*at]
                .distinct
                .iter()
                .all(|(cell, _)| cell.len() == 2)
        })
        && order == Order::Clear;
    let format = if short {
        Format::new(&text.replacen("%Y", "%y", 1)).unwrap_or(format)
    } else {
        format
    };
    Ok(Timing {
        columns,
        clock: Clock::Format(format),
        order,
        order_assumed: !rivals.is_empty(),
        rivals: Vec::new(),
    })
}

/// Asks which of several columns is meant.
pub(crate) fn ask_which(column: &str, which: &[usize], titles: &[String]) -> Trouble {
    let shown: Vec<String> = which.iter().map(|at| title(&[*at], titles)).collect();
    Failure::question(
        format!(
            "more than one column may be the {column}: {}; which is it?",
            shown.join(", ")
        ),
        which.iter().map(|at| choice(column, *at, titles)),
    )
    .into()
}

/// The line of a layout that names a column: by its text, or by its number where the text stands twice.
pub(crate) fn choice(column: &str, at: usize, titles: &[String]) -> String {
    match titles.get(at) {
        Some(name) if !name.is_empty() && titles.iter().filter(|other| *other == name).count() == 1 => {
            format!("columns.{column}.from = \"{}\"", name.replace('"', "\\\""))
        }
        _ => format!("columns.{column}.from = {}", at + 1),
    }
}

/// What the keeper calls some columns.
pub(crate) fn title(columns: &[usize], titles: &[String]) -> String {
    let one = |at: &usize| match titles.get(*at) {
        Some(name) if !name.is_empty() => format!("\"{name}\""),
        _ => format!("column {}", at + 1),
    };
    let all: Vec<String> = columns.iter().map(one).collect();
    match all.as_slice() {
        [one] if one.starts_with('"') => format!("column {one}"),
        [one] => one.clone(),
        several if several.iter().all(|one| one.starts_with('"')) => {
            format!("columns {}", several.join(" and "))
        }
        several => several.join(" and "),
    }
}
