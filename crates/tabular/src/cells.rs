//! Lines of text made of cells, for files that are no text.

use crate::layout::{CELL_END, CELL_QUOTE};

/// Puts cells into lines that are read back as the same cells.
#[derive(Debug, Default)]
pub struct Cells {
    text: String,
    /// The line has a cell already.
    begun: bool,
}

impl Cells {
    /// Appends a cell to the line; line ends and other controls in it become blanks.
    pub fn push(&mut self, cell: &str) {
        if std::mem::replace(&mut self.begun, true) {
            self.text.push(char::from(CELL_END));
        }
        let plain = |byte: u8| byte != CELL_END && byte != CELL_QUOTE && byte >= b' ' && byte != 0x7f;
        if cell.bytes().all(plain) {
            self.text.push_str(cell);
            return;
        }
        let quote = char::from(CELL_QUOTE);
        self.text.push(quote);
        for letter in cell.chars() {
            if letter == quote {
                self.text.push(quote);
            }
            self.text.push(if letter.is_control() { ' ' } else { letter });
        }
        self.text.push(quote);
    }

    /// Ends the line.
    pub fn end_line(&mut self) {
        // A lone empty cell is a line with a cell, not an empty line.
        if self.begun && (self.text.is_empty() || self.text.ends_with('\n')) {
            self.text.push_str("\"\"");
        }
        self.text.push('\n');
        self.begun = false;
    }

    /// The text so far.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Drops the text's first bytes, which have been used up.
    pub fn drop_first(&mut self, bytes: usize) {
        self.text.drain(..bytes.min(self.text.len()));
    }
}
