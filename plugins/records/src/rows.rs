//! From records to lines of cells, a block at a time.

use crate::choose::{From, Kind, Records};
use crate::json::{Json, Piece, line_ends};
use crate::senml::Resolver;
use crate::shape::Shape;
use undim_sdk::Failure;
use undim_tabular::{Cells, Fact, Text, names_anything, names_light};

/// Text made at once, bytes.
const BLOCK: usize = 128 << 10;
/// Most records.
const MOST_RECORDS: usize = 20_000_000;

/// What holds for all records from one on: the plain values beside the way down to them.
struct Beside {
    from_record: u32,
    above: Option<usize>,
    cells: Vec<(usize, String)>,
}

/// The records as text.
pub(crate) struct Rows<'a> {
    bytes: &'a [u8],
    shape: &'a Shape,
    records: &'a Records,
    resolver: Option<Resolver<'a>>,
    /// Where each record begins, and its line for documents one after another.
    starts: Vec<u32>,
    beside: Vec<Beside>,
    /// Each path's column; for lists the first of several.
    column_of: Vec<Option<usize>>,
    next: usize,
    in_beside: usize,
    /// Lines written so far, the names apart.
    lines: u64,
    /// The byte up to which the file's lines were counted, and the line there.
    counted: (usize, u64),
    /// Arrays side by side that are being read.
    open: Vec<(usize, Json<'a>)>,
    own: Vec<String>,
    cells: Cells,
    used: usize,
    ended: bool,
    facts: Vec<Fact>,
    /// A column of times or intervals, of which the beginning counts.
    interval: Option<usize>,
    /// Columns that the layout asks for.
    asked: Vec<String>,
}

impl<'a> Rows<'a> {
    /// Finds every record.
    pub(crate) fn new(
        bytes: &'a [u8],
        shape: &'a Shape,
        records: &'a Records,
        resolver: Option<Resolver<'a>>,
        facts: Vec<Fact>,
    ) -> Result<Rows<'a>, Failure> {
        let mut column_of = vec![None; shape.seen.len()];
        for (n, column) in records.columns.iter().enumerate() {
            if let From::Plain(at) | From::List(at) | From::Place(at, 0) = column.from
                && let Some(place) = column_of.get_mut(at)
            {
                *place = Some(n);
            }
        }
        let mut rows = Rows {
            bytes,
            shape,
            records,
            resolver,
            starts: Vec::new(),
            beside: Vec::new(),
            column_of,
            next: 0,
            in_beside: 0,
            lines: 0,
            counted: (0, 1),
            open: Vec::new(),
            own: Vec::new(),
            cells: Cells::default(),
            used: 0,
            ended: false,
            facts,
            interval: None,
            asked: Vec::new(),
        };
        let mut at = crate::start(bytes);
        loop {
            let mut json = Json::new(bytes, at);
            if json.is_at_end() {
                break;
            }
            rows.locate(&mut json, 0, None)?;
            at = json.behind();
        }
        if records.first_names && !rows.starts.is_empty() {
            rows.next = 1;
        }
        let titles: Vec<&str> = match &rows.resolver {
            Some(_) => crate::senml::TITLES.to_vec(),
            None => records
                .columns
                .iter()
                .map(|column| column.title.as_str())
                .collect(),
        };
        for title in titles {
            rows.cells.push(title);
        }
        rows.cells.end_line();
        if rows.next > 0 {
            // The names are the first record.
            rows.cells.end_line();
            rows.lines = 1;
        }
        Ok(rows)
    }

    /// Notes where the records in the value that comes next begin; `depth` is how far down the way it stands.
    fn locate(&mut self, json: &mut Json<'a>, depth: usize, beside: Option<usize>) -> Result<(), Failure> {
        let at_records = depth == self.records.chain.len();
        let start = json.at();
        let whole = json.clone();
        match json.next()? {
            Piece::StartArray => {
                if at_records && self.records.kind == Kind::Rows && self.is_document_row(start) {
                    self.note(start, beside)?;
                    *json = whole;
                    return json.skip();
                }
                loop {
                    let element = json.at();
                    let before = json.clone();
                    let piece = json.next()?;
                    if piece == Piece::EndArray {
                        return Ok(());
                    }
                    *json = before;
                    if at_records {
                        self.note(element, beside)?;
                        json.skip()?;
                    } else {
                        self.locate(json, depth, beside)?;
                    }
                }
            }
            Piece::StartObject if at_records => {
                if self.records.kind != Kind::Rows {
                    self.note(start, beside)?;
                }
                *json = whole;
                json.skip()
            }
            Piece::StartObject => {
                let node = depth
                    .checked_sub(1)
                    .and_then(|at| self.records.chain.get(at))
                    .copied();
                let beside = self.gather_beside(node.unwrap_or(0), start, beside)?;
                let wanted = self.records.chain.get(depth).copied();
                while let Piece::Key(key) = json.next()? {
                    if self.shape.child(node.unwrap_or(0), &key) == wanted {
                        self.locate(json, depth + 1, beside)?;
                    } else {
                        json.skip()?;
                    }
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// A whole document is one row.
    fn is_document_row(&self, _start: usize) -> bool {
        self.records.at == 0 && self.shape.get(0).is_some_and(|seen| seen.listed.arrays == 0)
    }

    fn note(&mut self, start: usize, beside: Option<usize>) -> Result<(), Failure> {
        let count = self.starts.len();
        if count >= MOST_RECORDS {
            return Err(Failure::unusable(
                0,
                0,
                format!("the file holds more than {MOST_RECORDS} records; split it"),
            ));
        }
        if let Some(last) = beside
            && let Some(known) = self.beside.get_mut(last)
            && known.from_record == u32::MAX
        {
            known.from_record = count as u32;
        }
        self.starts.push(start as u32);
        Ok(())
    }

    /// The plain values of an object on the way down; they may stand behind the records, so the object is read ahead.
    fn gather_beside(
        &mut self,
        node: usize,
        start: usize,
        above: Option<usize>,
    ) -> Result<Option<usize>, Failure> {
        let wanted = |at: usize| {
            self.records
                .columns
                .iter()
                .position(|column| column.from == From::Above(at))
        };
        let any = self
            .records
            .columns
            .iter()
            .any(|column| matches!(column.from, From::Above(_)));
        if !any {
            return Ok(None);
        }
        let mut cells = Vec::new();
        let mut ahead = Json::new(self.bytes, start);
        let mut path = vec![node];
        let mut here = node;
        ahead.next()?;
        loop {
            match ahead.next()? {
                Piece::Key(key) => {
                    let above = path.last().copied().unwrap_or(node);
                    let Some(child) = self.shape.child(above, &key) else {
                        ahead.skip()?;
                        continue;
                    };
                    if self.records.chain.contains(&child) {
                        ahead.skip()?;
                        continue;
                    }
                    here = child;
                }
                Piece::StartObject => path.push(here),
                Piece::EndObject => {
                    path.pop();
                    if path.is_empty() {
                        break;
                    }
                }
                Piece::StartArray => ahead.skip_array()?,
                Piece::Scalar(scalar) => {
                    if let Some(column) = wanted(here) {
                        cells.push((column, scalar.into_cell()));
                    }
                }
                Piece::EndArray | Piece::End => break,
            }
        }
        self.beside.push(Beside {
            from_record: u32::MAX,
            above,
            cells,
        });
        Ok(Some(self.beside.len() - 1))
    }

    /// Writes the next line; false where there is none.
    fn line(&mut self) -> Result<bool, Failure> {
        if !self.open.is_empty() {
            return self.parallel_line();
        }
        let Some(start) = self.starts.get(self.next).copied() else {
            return Ok(false);
        };
        let start = start as usize;
        let width = self.records.columns.len();
        self.own.clear();
        self.own.resize(width, String::new());
        self.fill_beside();
        self.next += 1;
        match self.records.kind {
            Kind::Objects => self.fill_object(start)?,
            Kind::Rows => self.fill_row(start)?,
            Kind::Parallel => {
                self.fill_object(start)?;
                self.open_lists(start)?;
                return self.parallel_line().map(|_| true);
            }
        }
        // Documents keep the lines of the file.
        if self.shape.documents > 1 {
            let line = self.line_of(start);
            while self.lines + 1 < line {
                self.cells.end_line();
                self.lines += 1;
            }
        }
        self.write()?;
        Ok(true)
    }

    fn write(&mut self) -> Result<(), Failure> {
        self.lines += 1;
        if let Some(cell) = self.interval.and_then(|at| self.own.get_mut(at))
            && let Some(end) = cell.find('/')
        {
            cell.truncate(end);
        }
        if let Some(resolver) = &mut self.resolver {
            return resolver.write(&self.records.columns, &self.own, self.lines, &mut self.cells);
        }
        for cell in &self.own {
            self.cells.push(cell);
        }
        self.cells.end_line();
        Ok(())
    }

    fn line_of(&mut self, at: usize) -> u64 {
        let (from, line) = self.counted;
        let passed = self.bytes.get(from..at).unwrap_or_default();
        let line = line + line_ends(passed);
        self.counted = (at.max(from), line);
        line
    }

    /// What stands beside the way down to the record.
    fn fill_beside(&mut self) {
        while self
            .beside
            .get(self.in_beside + 1)
            .is_some_and(|beside| beside.from_record == u32::MAX || beside.from_record as usize <= self.next)
        {
            self.in_beside += 1;
        }
        // An object without records of its own holds for none.
        let mut at = (0..=self.in_beside).rev().find(|at| {
            self.beside
                .get(*at)
                .is_some_and(|beside| beside.from_record as usize <= self.next)
        });
        while let Some(beside) = at.and_then(|at| self.beside.get(at)) {
            for (column, cell) in &beside.cells {
                if let Some(own) = self.own.get_mut(*column).filter(|own| own.is_empty()) {
                    own.clone_from(cell);
                }
            }
            at = beside.above;
        }
    }

    fn fill_object(&mut self, start: usize) -> Result<(), Failure> {
        let mut json = Json::new(self.bytes, start);
        let mut path = Vec::new();
        let mut here = self.records.at;
        loop {
            match json.next()? {
                Piece::Key(key) => match self.shape.child(path.last().copied().unwrap_or(here), &key) {
                    Some(child) => here = child,
                    None => json.skip()?,
                },
                Piece::StartObject => path.push(here),
                Piece::EndObject => {
                    path.pop();
                    if path.is_empty() {
                        return Ok(());
                    }
                }
                Piece::StartArray => self.fill_list(&mut json, here)?,
                Piece::Scalar(scalar) => {
                    if let Some(column) = self.column_of.get(here).copied().flatten()
                        && self
                            .records
                            .columns
                            .get(column)
                            .is_some_and(|column| column.from == From::Plain(here))
                        && let Some(own) = self.own.get_mut(column)
                    {
                        *own = scalar.into_cell();
                    }
                    if path.is_empty() {
                        return Ok(());
                    }
                }
                Piece::EndArray | Piece::End => return Ok(()),
            }
        }
    }

    /// The places of a short list; `json` stands behind the array's beginning.
    fn fill_list(&mut self, json: &mut Json, at: usize) -> Result<(), Failure> {
        let columns = &self.records.columns;
        let first = self.column_of.get(at).copied().flatten();
        let first = first.filter(|first| {
            columns
                .get(*first)
                .is_some_and(|column| column.from == From::Place(at, 0))
        });
        let Some(first) = first else {
            return json.skip_array();
        };
        let mut place = 0;
        loop {
            match json.next()? {
                Piece::Scalar(scalar) => {
                    let fits = columns
                        .get(first + place)
                        .is_some_and(|column| column.from == From::Place(at, place));
                    if fits && let Some(own) = self.own.get_mut(first + place) {
                        *own = scalar.into_cell();
                    }
                    place += 1;
                }
                _ => return Ok(()),
            }
        }
    }

    fn fill_row(&mut self, start: usize) -> Result<(), Failure> {
        let mut json = Json::new(self.bytes, start);
        if json.next()? != Piece::StartArray {
            return Ok(());
        }
        for at in 0.. {
            let Piece::Scalar(scalar) = json.next()? else {
                break;
            };
            let is_cell = self
                .records
                .columns
                .get(at)
                .is_some_and(|column| matches!(column.from, From::Cell(_)));
            if is_cell && let Some(own) = self.own.get_mut(at) {
                *own = scalar.into_cell();
            }
        }
        Ok(())
    }

    /// Opens the arrays side by side in the object at `start`, all of one length.
    fn open_lists(&mut self, start: usize) -> Result<(), Failure> {
        let mut json = Json::new(self.bytes, start);
        json.next()?;
        let mut lengths: Vec<(String, usize, usize)> = Vec::new();
        self.open.clear();
        while let Piece::Key(key) = json.next()? {
            let column = self.shape.child(self.records.at, &key).and_then(|at| {
                self.records
                    .columns
                    .iter()
                    .position(|column| column.from == From::List(at))
            });
            let list = json.clone();
            if let (Some(column), Piece::StartArray) = (column, json.clone().next()?) {
                let mut inside = list;
                inside.next()?;
                let mut count = inside.clone();
                let mut length = 0;
                while let Piece::Scalar(_) = count.next()? {
                    length += 1;
                }
                lengths.push((key, length, json.at()));
                self.open.push((column, inside));
            }
            json.skip()?;
        }
        let light = lengths.iter().find(|(key, _, _)| names_light(key));
        let Some((first, length, _)) = light.or_else(|| lengths.iter().max_by_key(|(_, length, _)| *length))
        else {
            return Ok(());
        };
        let needed = |key: &str| names_anything(key) || self.asked.iter().any(|asked| asked == key);
        let others = || lengths.iter().filter(|(_, other, _)| other != length);
        if let Some((other, wrong, at)) = others().find(|(key, _, _)| needed(key)) {
            let (line, column) = crate::json::place(self.bytes, *at);
            let text = format!(
                "the list \"{other}\" has {wrong} values where \"{first}\" has {length}: nothing tells which belong together"
            );
            return Err(Failure::unusable(line, column, text));
        }
        // A list of another length that nothing needs tells something else.
        let mut fits = lengths.iter().map(|(_, other, _)| other == length);
        self.open.retain(|_| fits.next().unwrap_or(false));
        Ok(())
    }

    fn parallel_line(&mut self) -> Result<bool, Failure> {
        let mut any = false;
        let mut open = std::mem::take(&mut self.open);
        for (column, json) in &mut open {
            if let Piece::Scalar(scalar) = json.next()?
                && let Some(own) = self.own.get_mut(*column)
            {
                *own = scalar.into_cell();
                any = true;
            }
        }
        if any {
            self.open = open;
            self.write()?;
        }
        Ok(true)
    }

    /// Says in which column intervals may stand, and which columns the layout asks for.
    pub(crate) fn with(mut self, interval: Option<usize>, asked: Vec<String>) -> Self {
        self.interval = interval;
        self.asked = asked;
        self
    }

    /// Resolves every record without writing it.
    pub(crate) fn each(&mut self, take: &mut dyn FnMut(&[String; 8], bool)) -> Result<(), Failure> {
        while let Some(start) = self.starts.get(self.next).copied() {
            self.own.clear();
            self.own.resize(self.records.columns.len(), String::new());
            self.next += 1;
            self.fill_object(start as usize)?;
            let record = self.next as u64;
            if let Some(resolver) = &mut self.resolver {
                let (resolved, is_relative) = resolver.resolve(&self.records.columns, &self.own, record)?;
                take(&resolved, is_relative);
            }
        }
        Ok(())
    }
}

impl Text for Rows<'_> {
    fn text(&self) -> &str {
        self.cells.text().get(self.used..).unwrap_or("")
    }

    fn ended(&self) -> bool {
        self.ended
    }

    fn advance(&mut self, bytes: usize) {
        self.used += bytes;
    }

    fn more(&mut self, _line: u64) -> Result<(), Failure> {
        self.cells.drop_first(std::mem::take(&mut self.used));
        let wanted = self.cells.text().len() + BLOCK;
        while self.cells.text().len() < wanted {
            if !self.line()? {
                self.ended = true;
                break;
            }
        }
        Ok(())
    }

    fn facts(&self) -> Vec<Fact> {
        self.facts.clone()
    }
}
