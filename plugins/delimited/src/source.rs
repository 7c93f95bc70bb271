//! The file as a stream of text: read, decoded, and kept only as long as it is needed.

use crate::unpacked::Unpacked;
use std::io::Read;
use undim_sdk::{Failure, Input};
use undim_tabular::encoding::{self, Decoder, Event, Found};
use undim_tabular::{Fact, Text, WIDE_DELIMITER};

/// Bytes read at once.
const BLOCK: usize = 128 << 10;

/// Text of a file, from where reading stands to where decoding stands.
pub(crate) struct Source<'s, 'i> {
    input: Unpacked<'s, 'i>,
    decoder: Decoder,
    encoding: Found,
    raw: Vec<u8>,
    text: String,
    /// How much of `text` has been used up.
    used: usize,
    ended: bool,
    /// A delimiter beyond ASCII, in place of which one byte is put.
    wide: Option<char>,
    /// What the decoder had to say that was not told yet.
    event: Option<Event>,
}

impl<'s, 'i> Source<'s, 'i> {
    /// Opens a file; `label` is the encoding that a layout names, with its option's index.
    pub(crate) fn open(
        input: &'s mut Input<'i>,
        label: Option<(&str, u32)>,
        wide: Option<char>,
    ) -> Result<Source<'s, 'i>, Failure> {
        let mut input = Unpacked::open(input)?;
        let mut start = vec![0; BLOCK];
        let (length, ended) = fill(&mut input, &mut start)?;
        start.truncate(length);
        let found = match label {
            Some((label, index)) => {
                encoding::named(label, &start).map_err(|text| Failure::option(index, text))?
            }
            None => encoding::find(&start, ended).map_err(|(line, text)| Failure::unusable(line, 0, text))?,
        };
        let mut source = Source {
            input,
            decoder: Decoder::new(&found),
            encoding: found,
            raw: Vec::new(),
            text: String::new(),
            used: 0,
            ended: false,
            wide,
            event: None,
        };
        let first = start.get(source.encoding.mark..).unwrap_or_default().to_vec();
        source.take(&first, ended, 1)?;
        source.raw = start;
        source.raw.resize(BLOCK, 0);
        Ok(source)
    }

    fn take(&mut self, raw: &[u8], ended: bool, line: u64) -> Result<(), Failure> {
        let before = self.text.len();
        let event = self.decoder.decode(raw, ended, &mut self.text);
        if event != Event::Fine {
            self.event = Some(event);
        }
        self.ended = ended;
        let fresh = self.text.get(before..).unwrap_or("");
        if let Some(at) = fresh.find('\0') {
            let lines = self.text.get(..before + at).unwrap_or("").matches('\n').count() as u64;
            return Err(Failure::unusable(
                line + lines,
                0,
                "this is no text: here stands a zero byte; export the file again",
            ));
        }
        if let Some(wide) = self.wide {
            let narrow = fresh.replace(wide, &char::from(WIDE_DELIMITER).to_string());
            self.text.truncate(before);
            self.text.push_str(&narrow);
        }
        Ok(())
    }
}

impl Text for Source<'_, '_> {
    fn text(&self) -> &str {
        self.text.get(self.used..).unwrap_or("")
    }

    fn ended(&self) -> bool {
        self.ended
    }

    fn advance(&mut self, bytes: usize) {
        self.used += bytes;
    }

    /// Reads and decodes one more block; what has been used up goes.
    fn more(&mut self, line: u64) -> Result<(), Failure> {
        if self.ended {
            return Ok(());
        }
        if self.used > 0 {
            self.text.drain(..self.used);
            self.used = 0;
        }
        let mut raw = std::mem::take(&mut self.raw);
        let (length, ended) = fill(&mut self.input, &mut raw)?;
        let result = self.take(raw.get(..length).unwrap_or_default(), ended, line);
        self.raw = raw;
        result
    }

    fn event(&mut self) -> Option<Event> {
        self.event.take()
    }

    fn facts(&self) -> Vec<Fact> {
        let fact = |key: &str, value: String, assumed| Fact {
            key: key.to_owned(),
            value,
            assumed,
        };
        let mut facts = Vec::new();
        if self.input.is_gzip() {
            facts.push(fact("compression", "gzip; unpacked".to_owned(), false));
        }
        facts.push(fact("encoding", self.encoding.kind.name(), self.encoding.assumed));
        facts
    }
}

/// Fills a buffer as far as the file goes; tells how far, and whether the file ended.
fn fill(input: &mut Unpacked<'_, '_>, buffer: &mut [u8]) -> Result<(usize, bool), Failure> {
    let mut filled = 0;
    while let Some(rest) = buffer.get_mut(filled..).filter(|rest| !rest.is_empty()) {
        match input.read(rest) {
            Ok(0) => return Ok((filled, true)),
            Ok(count) => filled += count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) if input.is_gzip() => {
                let text = format!("the gzip file is damaged or cut off ({error}); export or copy it again");
                return Err(Failure::unusable(0, 0, text));
            }
            Err(error) => return Err(error.into()),
        }
    }
    Ok((filled, false))
}
