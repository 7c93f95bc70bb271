//! What a file holds: every path of keys, and what stands there. Arrays add nothing to a path.

use crate::json::{Json, Piece, Scalar};
use std::collections::HashMap;
use undim_sdk::Failure;

/// Most different paths.
const MOST_PATHS: usize = 4096;

/// What was seen at one path.
#[derive(Debug, Default, Clone)]
pub(crate) struct Seen {
    pub(crate) path: String,
    pub(crate) key: String,
    /// Position of the path above; none for the document itself.
    pub(crate) above: Option<usize>,
    pub(crate) objects: u64,
    pub(crate) arrays: u64,
    /// Plain values outside arrays: numbers, texts, and neither.
    pub(crate) numbers: u64,
    pub(crate) texts: u64,
    pub(crate) others: u64,
    /// What stands in the arrays.
    pub(crate) listed: Listed,
    /// The number of the object that this key was last met in.
    last_in: u64,
}

/// What stands in the arrays at one path.
#[derive(Debug, Default, Clone)]
pub(crate) struct Listed {
    pub(crate) objects: u64,
    pub(crate) arrays: u64,
    pub(crate) plain: u64,
    pub(crate) texts: u64,
    /// Of arrays outside other arrays: the most elements, and the fewest.
    pub(crate) longest: u64,
    pub(crate) shortest: u64,
    /// Of arrays inside another: the most elements.
    pub(crate) widest: u64,
}

impl Seen {
    /// A plain value stands here at least once, outside any array.
    pub(crate) fn is_plain(&self) -> bool {
        self.numbers + self.texts + self.others > 0
    }

    /// Arrays of nothing but plain values stand here.
    pub(crate) fn is_list(&self) -> bool {
        self.listed.plain > 0 && self.listed.objects + self.listed.arrays == 0
    }
}

/// Every path of a file, in the order in which they appear.
#[derive(Debug, Default)]
pub(crate) struct Shape {
    pub(crate) seen: Vec<Seen>,
    children: HashMap<usize, HashMap<String, usize>>,
    /// Documents one after another.
    pub(crate) documents: u64,
    objects: u64,
}

/// An array or object that is open.
struct Open {
    at: usize,
    is_array: bool,
    /// Stands in an array itself.
    is_listed: bool,
    elements: u64,
    object: u64,
}

impl Shape {
    /// Goes through all documents of a file.
    pub(crate) fn of(bytes: &[u8], start: usize) -> Result<Shape, Failure> {
        let mut shape = Shape {
            seen: vec![Seen::default()],
            ..Shape::default()
        };
        let mut at = start;
        loop {
            let mut json = Json::new(bytes, at);
            if json.is_at_end() {
                return Ok(shape);
            }
            shape.documents += 1;
            shape.document(&mut json)?;
            at = json.behind();
        }
    }

    pub(crate) fn get(&self, at: usize) -> Option<&Seen> {
        self.seen.get(at)
    }

    /// The path below one.
    pub(crate) fn child(&self, above: usize, key: &str) -> Option<usize> {
        self.children.get(&above)?.get(key).copied()
    }

    /// Positions of the paths right below one, in the order in which they appear.
    pub(crate) fn below(&self, above: usize) -> impl Iterator<Item = usize> {
        self.seen
            .iter()
            .enumerate()
            .filter(move |(_, seen)| seen.above == Some(above))
            .map(|(at, _)| at)
    }

    fn document(&mut self, json: &mut Json) -> Result<(), Failure> {
        let mut open: Vec<Open> = Vec::new();
        let mut next = 0;
        loop {
            let piece = json.next()?;
            let (here, is_listed) = match open.last() {
                Some(array) if array.is_array => (array.at, true),
                _ => (next, false),
            };
            match piece {
                Piece::End => return Ok(()),
                Piece::Key(key) => {
                    let Some(object) = open.last() else { continue };
                    next = self.enter(object.at, &key, json)?;
                    if let Some(seen) = self.seen.get_mut(next)
                        && std::mem::replace(&mut seen.last_in, object.object) == object.object
                    {
                        let text = format!(
                            "the name \"{key}\" stands twice in one object, and nothing tells which is meant"
                        );
                        return Err(json.wrong_here(&text));
                    }
                }
                Piece::StartObject | Piece::StartArray => {
                    self.objects += 1;
                    let is_array = piece == Piece::StartArray;
                    self.count(here, is_listed, is_array);
                    element(&mut open);
                    open.push(Open {
                        at: here,
                        is_array,
                        is_listed,
                        elements: 0,
                        object: self.objects,
                    });
                }
                Piece::EndObject => {
                    open.pop();
                }
                Piece::EndArray => {
                    if let Some(closed) = open.pop() {
                        self.close(&closed);
                    }
                }
                Piece::Scalar(scalar) => {
                    element(&mut open);
                    self.plain(here, is_listed, &scalar);
                }
            }
        }
    }

    fn count(&mut self, at: usize, is_listed: bool, is_array: bool) {
        let Some(seen) = self.seen.get_mut(at) else { return };
        match (is_listed, is_array) {
            (false, false) => seen.objects += 1,
            (false, true) => seen.arrays += 1,
            (true, false) => seen.listed.objects += 1,
            (true, true) => seen.listed.arrays += 1,
        }
    }

    fn close(&mut self, closed: &Open) {
        let Some(seen) = self.seen.get_mut(closed.at) else {
            return;
        };
        let listed = &mut seen.listed;
        if closed.is_listed {
            listed.widest = listed.widest.max(closed.elements);
        } else {
            listed.longest = listed.longest.max(closed.elements);
            listed.shortest = if seen.arrays == 1 {
                closed.elements
            } else {
                listed.shortest.min(closed.elements)
            };
        }
    }

    fn plain(&mut self, at: usize, is_listed: bool, scalar: &Scalar) {
        let Some(seen) = self.seen.get_mut(at) else { return };
        match (is_listed, scalar) {
            (true, _) => {
                seen.listed.plain += 1;
                seen.listed.texts += u64::from(matches!(scalar, Scalar::Text(_)));
            }
            (false, Scalar::Number(_)) => seen.numbers += 1,
            (false, Scalar::Text(_)) => seen.texts += 1,
            (false, Scalar::Truth(_) | Scalar::Null) => seen.others += 1,
        }
    }

    /// The path below one, which is added where it was not met before.
    fn enter(&mut self, above: usize, key: &str, json: &Json) -> Result<usize, Failure> {
        if let Some(at) = self.child(above, key) {
            return Ok(at);
        }
        if self.seen.len() >= MOST_PATHS {
            return Err(json.wrong_here(&format!(
                "the file has more than {MOST_PATHS} different names up to here: it is no list of records"
            )));
        }
        let path = match self.seen.get(above).map(|seen| seen.path.as_str()) {
            None | Some("") => key.to_owned(),
            Some(path) => format!("{path}.{key}"),
        };
        let at = self.seen.len();
        self.seen.push(Seen {
            path,
            key: key.to_owned(),
            above: Some(above),
            ..Seen::default()
        });
        self.children.entry(above).or_default().insert(key.to_owned(), at);
        Ok(at)
    }
}

/// One more element of the innermost array.
fn element(open: &mut [Open]) {
    if let Some(array) = open.last_mut().filter(|open| open.is_array) {
        array.elements += 1;
    }
}
