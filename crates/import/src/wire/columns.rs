//! The rows of one frame, gathered column by column.

use super::{FRAME_BYTES, FRAME_ROWS, encode::RowRef, form};
use std::collections::HashMap;
use undim_model::ImportedTime;

/// So much text goes into one frame of rows; with its numbers the frame stays within [`FRAME_BYTES`].
const FRAME_TEXT_BYTES: usize = FRAME_BYTES / 2;

/// The rows of the next frame.
pub(super) struct Columns {
    count: usize,
    last_row: u64,
    is_run: bool,
    row: Column<8>,
    time: Column<9>,
    numbers: [Column<8>; 6],
    texts: [Column<2>; 4],
    /// The text that each text column had last, and its place: rows often repeat it.
    last_texts: [Option<u16>; 4],
    dictionary: Dictionary,
}

impl Columns {
    pub(super) fn new() -> Self {
        Self {
            count: 0,
            last_row: 0,
            is_run: true,
            row: Column::default(),
            time: Column::default(),
            numbers: Default::default(),
            texts: Default::default(),
            last_texts: [None; 4],
            dictionary: Dictionary::default(),
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.count == 0
    }

    pub(super) fn is_full(&self) -> bool {
        self.count == FRAME_ROWS || self.dictionary.bytes.len() >= FRAME_TEXT_BYTES
    }

    pub(super) fn push(&mut self, row: &RowRef) {
        let at = self.count;
        self.is_run &= at == 0 || self.last_row.checked_add(1) == Some(row.row);
        self.last_row = row.row;
        self.row.push(at, Some(row.row.to_le_bytes()));
        self.time.push(
            at,
            row.time.map(|time| {
                let (kind, us) = match time {
                    ImportedTime::Instant(us) => (1, us),
                    ImportedTime::Wall(us) => (2, us),
                };
                let [a, b, c, d, e, f, g, h] = us.to_le_bytes();
                [kind, a, b, c, d, e, f, g, h]
            }),
        );
        let numbers = [row.value, row.x, row.y, row.z, row.tilt_deg, row.temperature_c];
        for (column, number) in self.numbers.iter_mut().zip(numbers) {
            column.push(at, number.map(f64::to_le_bytes));
        }
        let texts = [row.unit, row.station, row.device, row.remark];
        for ((column, last), text) in self.texts.iter_mut().zip(&mut self.last_texts).zip(texts) {
            let place = text.map(|text| match *last {
                Some(place) if self.dictionary.is_at(place, text) => place,
                _ => self.dictionary.place(text),
            });
            *last = place.or(*last);
            column.push(at, place.map(u16::to_le_bytes));
        }
        self.count += 1;
    }

    /// Writes the payload and forgets the rows.
    pub(super) fn drain_into(&mut self, payload: &mut Vec<u8>) {
        payload.extend((self.count as u16).to_le_bytes());
        payload.extend((self.dictionary.ends.len() as u16).to_le_bytes());
        payload.extend(&self.dictionary.bytes);
        let count = self.count;
        if self.is_run {
            payload.push(form::RUN);
            payload.extend(self.row.values.first_chunk::<8>().unwrap_or(&[0; 8]));
            self.row.clear();
        } else {
            self.row.drain_into(count, payload);
        }
        self.time.drain_into(count, payload);
        let [value, x, y, z, tilt, temperature] = &mut self.numbers;
        let [unit, station, device, remark] = &mut self.texts;
        value.drain_into(count, payload);
        unit.drain_into(count, payload);
        x.drain_into(count, payload);
        y.drain_into(count, payload);
        z.drain_into(count, payload);
        station.drain_into(count, payload);
        device.drain_into(count, payload);
        tilt.drain_into(count, payload);
        temperature.drain_into(count, payload);
        remark.drain_into(count, payload);
        self.count = 0;
        self.is_run = true;
        self.last_texts = [None; 4];
        self.dictionary.clear();
    }
}

/// One column: the values that are there, and which rows have one.
#[derive(Default)]
struct Column<const WIDTH: usize> {
    values: Vec<u8>,
    mask: Vec<u8>,
    present: usize,
}

impl<const WIDTH: usize> Column<WIDTH> {
    fn push(&mut self, at: usize, value: Option<[u8; WIDTH]>) {
        let Some(value) = value else { return };
        if self.present < at || !self.mask.is_empty() {
            self.set_bit(at);
        }
        self.values.extend(value);
        self.present += 1;
    }

    /// The mask is only made once a row lacks a value.
    #[cold]
    fn first_mask(&mut self) {
        self.mask = vec![0; FRAME_ROWS / 8];
        for at in 0..self.present {
            if let Some(byte) = self.mask.get_mut(at / 8) {
                *byte |= 1 << (at % 8);
            }
        }
    }

    fn set_bit(&mut self, at: usize) {
        if self.mask.is_empty() {
            self.first_mask();
        }
        if let Some(byte) = self.mask.get_mut(at / 8) {
            *byte |= 1 << (at % 8);
        }
    }

    fn drain_into(&mut self, count: usize, payload: &mut Vec<u8>) {
        let first = self.values.first_chunk::<WIDTH>();
        if self.present == 0 {
            payload.push(form::NOTHING);
        } else if self.present < count {
            if self.mask.is_empty() {
                self.first_mask();
            }
            payload.push(form::MASKED);
            payload.extend(self.mask.iter().take(count.div_ceil(8)));
            payload.extend(&self.values);
        } else if let Some(first) =
            first.filter(|first| self.values.chunks_exact(WIDTH).all(|value| value == *first))
        {
            payload.push(form::SAME);
            payload.extend(first);
        } else {
            payload.push(form::EACH);
            payload.extend(&self.values);
        }
        self.clear();
    }

    fn clear(&mut self) {
        self.values.clear();
        self.mask.clear();
        self.present = 0;
    }
}

/// The texts of one frame, each once.
#[derive(Default)]
struct Dictionary {
    /// Lengths and texts, as they are sent.
    bytes: Vec<u8>,
    /// Where each text ends in `bytes`.
    ends: Vec<usize>,
    places: HashMap<Box<str>, u16>,
}

impl Dictionary {
    fn is_at(&self, place: u16, text: &str) -> bool {
        let end = self.ends.get(usize::from(place)).copied().unwrap_or_default();
        // The length before the text has to agree too, or "reef" would be found at the end of "outer reef".
        let start = end.checked_sub(text.len());
        start.and_then(|start| self.bytes.get(start..end)) == Some(text.as_bytes())
            && start.is_some_and(|start| start == self.start(place))
    }

    fn start(&self, place: u16) -> usize {
        let before = usize::from(place)
            .checked_sub(1)
            .and_then(|before| self.ends.get(before));
        before.copied().unwrap_or_default() + 2
    }

    fn place(&mut self, text: &str) -> u16 {
        if let Some(&place) = self.places.get(text) {
            return place;
        }
        // Four texts in each of 4096 rows at most: the places fit.
        let place = self.ends.len() as u16;
        self.bytes.extend((text.len() as u16).to_le_bytes());
        self.bytes.extend(text.as_bytes());
        self.ends.push(self.bytes.len());
        self.places.insert(text.into(), place);
        place
    }

    fn clear(&mut self) {
        self.bytes.clear();
        self.ends.clear();
        self.places.clear();
    }
}
