//! Which part of the file holds the records, and what their columns are.

use crate::json::{Json, Piece};
use crate::shape::Shape;
use undim_sdk::Failure;
use undim_tabular::{Layout, names_light, names_value};

/// A list of plain values up to this length belongs to one record: each place of it is a column, `position.0`.
const SHORT: u64 = 16;

/// How records lie in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Objects: the elements of an array, or the documents of the file.
    Objects,
    /// Arrays: the elements of an array, each a row of cells.
    Rows,
    /// Arrays side by side in one object: the first elements make the first record, and so on.
    Parallel,
}

/// The records of a file.
#[derive(Debug)]
pub(crate) struct Records {
    pub(crate) kind: Kind,
    /// Position of the path that they lie at.
    pub(crate) at: usize,
    /// Positions from the outermost one below the document down to `at`.
    pub(crate) chain: Vec<usize>,
    pub(crate) columns: Vec<Column>,
    /// The first of the rows holds the names.
    pub(crate) first_names: bool,
}

/// A column of the records.
#[derive(Debug, Clone)]
pub(crate) struct Column {
    pub(crate) title: String,
    pub(crate) from: From,
}

/// Where a column's cells come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum From {
    /// A plain value of the record.
    Plain(usize),
    /// A place in a short list of the record.
    Place(usize, usize),
    /// The n-th cell of a row.
    Cell(usize),
    /// One of the arrays side by side.
    List(usize),
    /// A plain value of what the record lies in.
    Above(usize),
}

/// Finds the records; what can't be known is asked.
pub(crate) fn choose(shape: &Shape, bytes: &[u8], layout: &Layout) -> Result<Records, Failure> {
    let candidates = candidates(shape);
    if let Some((path, index)) = layout.part() {
        let path = path.trim_matches('.');
        let found = candidates
            .iter()
            .find(|(_, at)| shape.get(*at).is_some_and(|seen| seen.path == path));
        let Some((kind, at)) = found else {
            let all: Vec<String> = candidates.iter().map(|(_, at)| shown(shape, *at)).collect();
            let text = format!("no records lie there; the file has records at {}", all.join(", "));
            return Err(Failure::option(index, text));
        };
        return records(shape, bytes, *kind, *at);
    }
    let all = candidates
        .iter()
        .map(|(kind, at)| records(shape, bytes, *kind, *at))
        .collect::<Result<Vec<_>, _>>()?;
    let holding = |is_value: &dyn Fn(&str) -> bool| -> Vec<usize> {
        let holds = |records: &Records| {
            records
                .columns
                .iter()
                .any(|column| !matches!(column.from, From::Above(_)) && is_value(&column.title))
        };
        (0..all.len())
            .filter(|at| all.get(*at).is_some_and(holds))
            .collect()
    };
    let mut which = holding(&names_light);
    if which.is_empty() {
        which = holding(&names_value);
    }
    if which.is_empty() {
        which = (0..all.len()).collect();
    }
    // What lies within the records of another candidate is the finer of the two: only it has a column of its own.
    match which.as_slice() {
        [] => Err(Failure::unusable(
            0,
            0,
            "the file holds no records: no list of objects, no lists side by side",
        )),
        [one] => {
            let one = *one;
            all.into_iter()
                .nth(one)
                .ok_or_else(|| Failure::unusable(0, 0, "the file holds no records"))
        }
        several => {
            let some: Vec<&Records> = several.iter().filter_map(|at| all.get(*at)).collect();
            let lists: Vec<String> = some
                .iter()
                .map(|records| {
                    let titles: Vec<&str> = records
                        .columns
                        .iter()
                        .take(6)
                        .map(|column| column.title.as_str())
                        .collect();
                    format!("{} (with {})", shown(shape, records.at), titles.join(", "))
                })
                .collect();
            Err(Failure::question(
                format!(
                    "the file holds several lists of records: {}; which of them are the readings?",
                    lists.join("; ")
                ),
                some.iter()
                    .map(|records| format!("records = {}", shown(shape, records.at))),
            ))
        }
    }
}

/// A path as a layout writes it.
pub(crate) fn shown(shape: &Shape, at: usize) -> String {
    let path = shape.get(at).map_or("", |seen| seen.path.as_str());
    let path = if path.is_empty() { "." } else { path };
    format!("\"{}\"", path.replace('\\', "\\\\").replace('"', "\\\""))
}

fn candidates(shape: &Shape) -> Vec<(Kind, usize)> {
    let mut found = Vec::new();
    for (at, seen) in shape.seen.iter().enumerate() {
        let is_document = at == 0 && seen.objects > 0;
        if seen.listed.objects > 0 {
            found.push((Kind::Objects, at));
        } else if seen.listed.arrays > 0 || at == 0 && seen.arrays > 1 {
            found.push((Kind::Rows, at));
        }
        let lists = || {
            shape
                .below(at)
                .filter_map(|at| shape.get(at))
                .filter(|seen| seen.is_list())
        };
        // Short lists in each of many records are no columns of readings: they belong to their record.
        let are_many = seen.objects + seen.listed.objects > 1;
        let longest = lists().map(|seen| seen.listed.longest).max().unwrap_or(0);
        let names_one = lists().any(|seen| names_light(&seen.key) || seen.listed.longest > SHORT);
        if longest > 0 && (names_one || !are_many && lists().count() > 1) {
            found.retain(|known| *known != (Kind::Objects, at));
            found.push((Kind::Parallel, at));
        } else if is_document && seen.listed.objects == 0 {
            found.push((Kind::Objects, at));
        }
    }
    found
}

fn records(shape: &Shape, bytes: &[u8], kind: Kind, at: usize) -> Result<Records, Failure> {
    let mut chain = Vec::new();
    let mut up = at;
    while let Some(above) = shape.get(up).and_then(|seen| seen.above) {
        chain.push(up);
        up = above;
    }
    chain.reverse();
    let mut columns = Vec::new();
    let mut first_names = false;
    match kind {
        Kind::Objects => own(shape, at, at, None, &mut columns),
        Kind::Parallel => {
            for below in shape.below(at) {
                let Some(seen) = shape.get(below) else { continue };
                if seen.is_list() {
                    columns.push(Column {
                        title: seen.key.clone(),
                        from: From::List(below),
                    });
                }
            }
            own_plain(shape, at, at, None, &mut columns);
        }
        Kind::Rows => {
            let (names, first) = names_of_rows(shape, bytes, at, &chain)?;
            first_names = first;
            for (n, title) in names.into_iter().enumerate() {
                columns.push(Column {
                    title,
                    from: From::Cell(n),
                });
            }
        }
    }
    // What stands beside the way down to the records holds for all of them.
    let mut below = at;
    while let Some(above) = shape.get(below).and_then(|seen| seen.above) {
        let mut beside = Vec::new();
        own_plain(shape, above, above, Some(below), &mut beside);
        for column in beside {
            if let From::Plain(node) = column.from {
                let path = shape.get(node).map_or(String::new(), |seen| seen.path.clone());
                let taken = columns.iter().any(|known| known.title == path);
                columns.push(Column {
                    title: if taken { format!("above.{path}") } else { path },
                    from: From::Above(node),
                });
            }
        }
        below = above;
    }
    Ok(Records {
        kind,
        at,
        chain,
        columns,
        first_names,
    })
}

/// The plain values and the places of short lists that belong to an object, nested objects included.
fn own(shape: &Shape, root: usize, at: usize, except: Option<usize>, columns: &mut Vec<Column>) {
    walk(shape, root, at, except, true, columns);
}

/// The plain values that belong to an object.
fn own_plain(shape: &Shape, root: usize, at: usize, except: Option<usize>, columns: &mut Vec<Column>) {
    walk(shape, root, at, except, false, columns);
}

fn walk(
    shape: &Shape,
    root: usize,
    at: usize,
    except: Option<usize>,
    lists: bool,
    columns: &mut Vec<Column>,
) {
    for below in shape.below(at).filter(|below| Some(*below) != except) {
        let Some(seen) = shape.get(below) else { continue };
        let title = relative(shape, root, &seen.path);
        if seen.is_plain() {
            columns.push(Column {
                title: title.clone(),
                from: From::Plain(below),
            });
        }
        if lists && seen.is_list() && seen.listed.longest <= SHORT {
            for place in 0..seen.listed.longest as usize {
                columns.push(Column {
                    title: format!("{title}.{place}"),
                    from: From::Place(below, place),
                });
            }
        }
        if seen.objects > 0 {
            walk(shape, root, below, except, lists, columns);
        }
    }
}

fn relative(shape: &Shape, root: usize, path: &str) -> String {
    let above = shape.get(root).map_or("", |seen| seen.path.as_str());
    match path.strip_prefix(above) {
        Some(rest) if !above.is_empty() => rest.strip_prefix('.').unwrap_or(rest).to_owned(),
        _ => path.to_owned(),
    }
}

/// The names of the cells in rows: those of a list beside them that is as long, or those of the first row.
fn names_of_rows(
    shape: &Shape,
    bytes: &[u8],
    at: usize,
    chain: &[usize],
) -> Result<(Vec<String>, bool), Failure> {
    let Some(seen) = shape.get(at) else {
        return Ok((Vec::new(), false));
    };
    let width = if at == 0 && seen.listed.arrays == 0 {
        seen.listed.longest
    } else {
        seen.listed.widest
    };
    let is_list_of_names = |below: &usize| {
        shape.get(*below).is_some_and(|seen| {
            seen.is_list()
                && seen.arrays == 1
                && seen.listed.texts == seen.listed.plain
                && seen.listed.longest == width
        })
    };
    let beside: Option<usize> = seen
        .above
        .and_then(|above| shape.below(above).find(|below| is_list_of_names(below)));
    let texts = |path: &[usize], rows: bool| -> Result<Option<Vec<String>>, Failure> {
        let mut json = Json::new(bytes, crate::start(bytes));
        // Down to the first array at this path.
        let mut wanted = path.iter().copied().peekable();
        loop {
            match json.next()? {
                Piece::Key(key) => {
                    let hit = wanted
                        .peek()
                        .and_then(|node| shape.get(*node))
                        .is_some_and(|seen| seen.key == key);
                    if hit {
                        wanted.next();
                    } else {
                        json.skip()?;
                    }
                }
                Piece::StartArray if wanted.peek().is_none() => break,
                Piece::StartObject | Piece::StartArray => {}
                _ => return Ok(None),
            }
        }
        if rows && json.next()? != Piece::StartArray {
            return Ok(None);
        }
        let mut texts = Vec::new();
        while let Piece::Scalar(scalar) = json.next()? {
            let crate::json::Scalar::Text(text) = scalar else {
                return Ok(None);
            };
            texts.push(text);
        }
        Ok(Some(texts))
    };
    if let Some(beside) = beside {
        let mut path = chain.to_vec();
        path.pop();
        path.push(beside);
        if let Some(names) = texts(&path, false)? {
            return Ok((names, false));
        }
    }
    let in_documents = at == 0 && seen.listed.arrays == 0;
    match texts(chain, !in_documents)? {
        Some(names) if names.len() as u64 == width && !names.is_empty() => Ok((names, true)),
        _ => Ok(((1..=width).map(|n| format!("cell {n}")).collect(), false)),
    }
}
