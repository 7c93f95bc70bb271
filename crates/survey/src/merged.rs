//! The files of a survey as one stream in order of time.

use crate::TakeInError;
use crate::at_source::AtSource;
use crate::book::Entry;
use crate::source::{RowsError, Source, TimedRow, in_time_order};
use crate::stage::{Seen, Stage};

/// Of equal times, sources come in an order that the caller chooses, then rows in the order of the file.
pub(crate) struct Merged<'a> {
    heads: Vec<Head<'a>>,
    sources: &'a [Source<'a>],
}

struct Head<'a> {
    source: usize,
    rank: usize,
    at: AtSource,
    rows: Box<dyn Iterator<Item = Result<TimedRow, RowsError>> + 'a>,
    next: Option<TimedRow>,
}

impl<'a> Merged<'a> {
    /// `ranks` gives each source its place in the chosen order; equal ones go by their row.
    pub(crate) fn open(
        entry: &'a Entry,
        sources: &'a [Source<'a>],
        ranks: &[usize],
    ) -> Result<Self, TakeInError> {
        let mut heads = Vec::with_capacity(sources.len());
        for (number, (source, rank)) in sources.iter().zip(ranks).enumerate() {
            let rows = in_time_order(source.rows, &source.timing, &source.scan, entry.span)
                .map_err(|error| failed(source, error))?;
            let mut head = Head {
                source: number,
                rank: *rank,
                at: AtSource::new(source),
                rows,
                next: None,
            };
            head.advance(source)?;
            heads.push(head);
        }
        Ok(Self { heads, sources })
    }

    /// The next reading, judged by itself, with the number of its source.
    pub(crate) fn next(&mut self, stage: &mut Stage<'a>) -> Result<Option<(usize, Seen)>, TakeInError> {
        // A survey has a handful of files: looking at each costs less than a heap.
        let earliest = self
            .heads
            .iter()
            .enumerate()
            .filter_map(|(number, head)| {
                let row = head.next.as_ref()?;
                Some((row.counted, head.rank, row.row.row, number))
            })
            .min();
        let Some((.., number)) = earliest else {
            return Ok(None);
        };
        let head = &mut self.heads[number];
        let source = &self.sources[head.source];
        let Some(row) = &head.next else { return Ok(None) };
        let seen = stage.see(source, &mut head.at, row)?;
        head.advance(source)?;
        Ok(Some((head.source, seen)))
    }

    /// What is known of a source, by its number.
    pub(crate) fn at(&self, source: usize) -> &AtSource {
        // One head for each source, in their order.
        &self.heads[source].at
    }
}

impl Head<'_> {
    fn advance(&mut self, source: &Source<'_>) -> Result<(), TakeInError> {
        self.next = self
            .rows
            .next()
            .transpose()
            .map_err(|error| failed(source, error))?;
        Ok(())
    }
}

fn failed(source: &Source<'_>, error: RowsError) -> TakeInError {
    TakeInError::Rows {
        path: source.file.path.to_string(),
        error,
    }
}
