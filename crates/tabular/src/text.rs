//! A file as a stream of text, as an importer gives it.

use crate::encoding::Event;
use crate::plan::Fact;
use undim_sdk::Failure;

/// The text of a file, from where reading stands to where the importer has got so far.
pub trait Text {
    /// The text from where reading stands.
    fn text(&self) -> &str;

    /// True once the text goes to the file's end.
    fn ended(&self) -> bool;

    /// Moves on by so many bytes.
    fn advance(&mut self, bytes: usize);

    /// Gets more text; what has been used up may go. `line` is the line that reading stands at.
    fn more(&mut self, line: u64) -> Result<(), Failure>;

    /// What decoding had to say that was not told yet.
    fn event(&mut self) -> Option<Event> {
        None
    }

    /// What is to be told about the file beside its table: compression, encoding.
    fn facts(&self) -> Vec<Fact> {
        Vec::new()
    }

    /// Gets on until so much text is at hand, or all there is.
    fn sample(&mut self, bytes: usize) -> Result<(), Failure> {
        while !self.ended() && self.text().len() < bytes {
            self.more(1)?;
        }
        Ok(())
    }
}
