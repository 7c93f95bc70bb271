//! JSON (RFC 8259) piece by piece: strict, without recursion, with the place of every mistake.

use undim_sdk::Failure;

/// Deepest nesting that is read.
pub(crate) const DEEPEST: usize = 64;
/// Longest text that is kept of one value or key, bytes; what goes beyond is cut.
const LONGEST: usize = 4096;

/// One piece.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Piece {
    StartObject,
    EndObject,
    StartArray,
    EndArray,
    Key(String),
    Scalar(Scalar),
    /// A whole value is done at the outermost level, or nothing more comes.
    End,
}

/// A value without parts.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Scalar {
    /// As it stands in the file.
    Number(String),
    Text(String),
    Truth(bool),
    Null,
}

impl Scalar {
    /// The value as the cell of a table.
    pub(crate) fn into_cell(self) -> String {
        match self {
            Scalar::Number(number) => plain_number(number),
            Scalar::Text(text) => text,
            Scalar::Truth(truth) => truth.to_string(),
            Scalar::Null => String::new(),
        }
    }
}

/// JSON's point is a decimal one: a number that could be taken for grouped thousands gets one more zero.
fn plain_number(mut number: String) -> String {
    let fraction = number.split_once('.').map(|(_, fraction)| fraction);
    if fraction
        .is_some_and(|fraction| fraction.len() == 3 && fraction.bytes().all(|byte| byte.is_ascii_digit()))
    {
        number.push('0');
    }
    number
}

/// What may come next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Expects {
    Value,
    /// A value, or the array's end.
    First,
    /// A key, or the object's end.
    FirstKey,
    Key,
    /// A comma or the end of the array or object.
    Next,
    /// The outermost value is done.
    Nothing,
}

/// A reader that stands somewhere in a text; a copy of it reads on from there on its own.
#[derive(Debug, Clone)]
pub(crate) struct Json<'a> {
    bytes: &'a [u8],
    at: usize,
    /// True for an object, false for an array.
    open: Vec<bool>,
    expects: Expects,
}

impl<'a> Json<'a> {
    /// Reads the value that begins at a byte, or behind the blanks there.
    pub(crate) fn new(bytes: &'a [u8], at: usize) -> Json<'a> {
        Json {
            bytes,
            at,
            open: Vec::new(),
            expects: Expects::Value,
        }
    }

    /// The byte at which the next piece begins.
    pub(crate) fn at(&mut self) -> usize {
        self.skip_blanks();
        // Between two elements the comma is no part of the next one.
        if self.expects == Expects::Next && self.peek() == Some(b',') {
            let mut ahead = self.clone();
            ahead.at += 1;
            ahead.skip_blanks();
            return ahead.at;
        }
        self.at
    }

    /// The next piece.
    pub(crate) fn next(&mut self) -> Result<Piece, Failure> {
        self.skip_blanks();
        match self.expects {
            Expects::Nothing => Ok(Piece::End),
            Expects::Value | Expects::First => {
                if self.expects == Expects::First && self.peek() == Some(b']') {
                    return Ok(self.close());
                }
                self.value()
            }
            Expects::FirstKey if self.peek() == Some(b'}') => Ok(self.close()),
            Expects::FirstKey | Expects::Key => self.key(),
            Expects::Next => {
                let object = self.open.last().copied().unwrap_or(false);
                match (self.peek(), object) {
                    (Some(b','), _) => {
                        self.at += 1;
                        self.expects = if object { Expects::Key } else { Expects::Value };
                        self.next()
                    }
                    (Some(b'}'), true) | (Some(b']'), false) => Ok(self.close()),
                    (_, true) => Err(self.wrong("a comma or `}` should stand here")),
                    (_, false) => Err(self.wrong("a comma or `]` should stand here")),
                }
            }
        }
    }

    /// Passes over the value that comes next.
    pub(crate) fn skip(&mut self) -> Result<(), Failure> {
        let depth = self.open.len();
        loop {
            match self.next()? {
                Piece::End => return Ok(()),
                Piece::Key(_) => {}
                _ if self.open.len() <= depth => return Ok(()),
                _ => {}
            }
        }
    }

    /// Passes over the rest of an array, behind whose beginning reading stands.
    pub(crate) fn skip_array(&mut self) -> Result<(), Failure> {
        let depth = self.open.len();
        while self.open.len() >= depth {
            if self.next()? == Piece::End {
                break;
            }
        }
        Ok(())
    }

    /// True where nothing but blanks is left.
    pub(crate) fn is_at_end(&mut self) -> bool {
        self.skip_blanks();
        self.peek().is_none()
    }

    fn close(&mut self) -> Piece {
        self.at += 1;
        let object = self.open.pop().unwrap_or(false);
        self.done();
        if object { Piece::EndObject } else { Piece::EndArray }
    }

    fn done(&mut self) {
        self.expects = if self.open.is_empty() {
            Expects::Nothing
        } else {
            Expects::Next
        };
    }

    fn open(&mut self, object: bool) -> Result<Piece, Failure> {
        if self.open.len() >= DEEPEST {
            return Err(self.wrong(&format!(
                "values are nested more than {DEEPEST} deep from here on"
            )));
        }
        self.at += 1;
        self.open.push(object);
        self.expects = if object { Expects::FirstKey } else { Expects::First };
        Ok(if object {
            Piece::StartObject
        } else {
            Piece::StartArray
        })
    }

    fn value(&mut self) -> Result<Piece, Failure> {
        let scalar = match self.peek() {
            Some(b'{') => return self.open(true),
            Some(b'[') => return self.open(false),
            Some(b'"') => Scalar::Text(self.string()?),
            Some(b'-' | b'0'..=b'9') => Scalar::Number(self.number()?),
            Some(b't') => self.word("true", Scalar::Truth(true))?,
            Some(b'f') => self.word("false", Scalar::Truth(false))?,
            Some(b'n') => self.word("null", Scalar::Null)?,
            // What some programs write for a missing number; JSON has no such thing, but the meaning is plain.
            Some(b'N') => self.word("NaN", Scalar::Null)?,
            Some(_) => return Err(self.wrong("a value should stand here")),
            None => return Err(self.wrong("the file ends in the middle of a value; copy or export it again")),
        };
        self.done();
        Ok(Piece::Scalar(scalar))
    }

    fn key(&mut self) -> Result<Piece, Failure> {
        if self.peek() != Some(b'"') {
            let text = match self.peek() {
                None => "the file ends in the middle of an object; copy or export it again",
                Some(_) => "a name in double quotes should stand here",
            };
            return Err(self.wrong(text));
        }
        let key = self.string()?;
        self.skip_blanks();
        if self.peek() != Some(b':') {
            return Err(self.wrong("a colon should stand here"));
        }
        self.at += 1;
        self.expects = Expects::Value;
        Ok(Piece::Key(key))
    }

    fn word(&mut self, word: &str, scalar: Scalar) -> Result<Scalar, Failure> {
        if !self
            .bytes
            .get(self.at..)
            .unwrap_or_default()
            .starts_with(word.as_bytes())
        {
            return Err(self.wrong("a value should stand here"));
        }
        self.at += word.len();
        Ok(scalar)
    }

    fn number(&mut self) -> Result<String, Failure> {
        let start = self.at;
        let rest = self.bytes.get(start..).unwrap_or_default();
        let length = rest
            .iter()
            .take_while(|byte| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b'e' | b'E'))
            .count();
        let text = rest
            .get(..length)
            .and_then(|text| std::str::from_utf8(text).ok())
            .unwrap_or("");
        if length > 400 || !is_number(text) {
            return Err(self.wrong("this is no number as JSON writes them"));
        }
        self.at += length;
        Ok(text.to_owned())
    }

    /// A text in quotes. Controls, which only tell how it was meant to look, become blanks.
    fn string(&mut self) -> Result<String, Failure> {
        let start = self.at;
        self.at += 1;
        let mut text: Vec<u8> = Vec::new();
        let mut keep = |bytes: &[u8]| {
            if text.len() < LONGEST {
                text.extend_from_slice(bytes);
            }
        };
        loop {
            let rest = self.bytes.get(self.at..).unwrap_or_default();
            let plain = rest
                .iter()
                .take_while(|byte| !matches!(byte, b'"' | b'\\') && **byte >= 0x20)
                .count();
            let mut taken = plain.min(LONGEST);
            // Never cut a character in two.
            while taken < plain && rest.get(taken).is_some_and(|byte| byte & 0xc0 == 0x80) {
                taken += 1;
            }
            keep(rest.get(..taken).unwrap_or_default());
            self.at += plain;
            match rest.get(plain) {
                Some(b'"') => {
                    self.at += 1;
                    break;
                }
                Some(b'\\') => {
                    let letter = self.escape(rest.get(plain + 1..).unwrap_or_default())?;
                    let letter = if letter.is_control() { ' ' } else { letter };
                    keep(letter.encode_utf8(&mut [0; 4]).as_bytes());
                }
                Some(_) => return Err(self.wrong("a control character stands inside a text")),
                None => {
                    self.at = start;
                    return Err(self.wrong("a quote opened here is not closed"));
                }
            }
        }
        String::from_utf8(text).map_err(|_| self.wrong("this text is not UTF-8"))
    }

    /// The character that an escape stands for; `rest` is what follows the backslash.
    fn escape(&mut self, rest: &[u8]) -> Result<char, Failure> {
        let simple = match rest.first() {
            Some(b'"') => '"',
            Some(b'\\') => '\\',
            Some(b'/') => '/',
            Some(b'b' | b'f' | b'n' | b'r' | b't') => ' ',
            Some(b'u') => {
                let first = unit(rest.get(1..5))
                    .ok_or_else(|| self.wrong("four hexadecimal digits should follow \\u"))?;
                let second = (rest.get(5..7) == Some(b"\\u"))
                    .then(|| unit(rest.get(7..11)))
                    .flatten();
                let (letter, length) = match (first, second) {
                    (0xd800..=0xdbff, Some(low @ 0xdc00..=0xdfff)) => (
                        char::from_u32(0x10000 + ((first - 0xd800) << 10) + (low - 0xdc00)),
                        12,
                    ),
                    _ => (char::from_u32(first), 6),
                };
                self.at += length;
                return Ok(letter.unwrap_or('\u{fffd}'));
            }
            _ => return Err(self.wrong("there is no such escape")),
        };
        self.at += 2;
        Ok(simple)
    }

    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    fn skip_blanks(&mut self) {
        while matches!(self.peek(), Some(b' ' | b'\t' | b'\n' | b'\r')) {
            self.at += 1;
        }
    }

    /// The byte behind what has been read.
    pub(crate) fn behind(&self) -> usize {
        self.at
    }

    /// A failure about what stands where reading has got to.
    pub(crate) fn wrong_here(&self, text: &str) -> Failure {
        let (line, column) = place(self.bytes, self.at);
        Failure::unusable(line, column, text)
    }

    /// The failure for what is no JSON where reading has got to.
    pub(crate) fn wrong(&self, text: &str) -> Failure {
        self.wrong_here(&format!("{text}; this is no JSON"))
    }
}

/// How many lines end in some bytes.
pub(crate) fn line_ends(bytes: &[u8]) -> u64 {
    bytes.split(|byte| *byte == b'\n').count() as u64 - 1
}

/// Line and character of a byte, from 1.
pub(crate) fn place(bytes: &[u8], at: usize) -> (u64, u32) {
    let before = bytes.get(..at.min(bytes.len())).unwrap_or_default();
    let line_start = before
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(0, |end| end + 1);
    let lines = line_ends(before) + 1;
    let letters = before
        .get(line_start..)
        .unwrap_or_default()
        .iter()
        .filter(|byte| **byte & 0xc0 != 0x80)
        .count();
    (lines, letters as u32 + 1)
}

fn unit(digits: Option<&[u8]>) -> Option<u32> {
    let digits = std::str::from_utf8(digits?).ok()?;
    digits
        .bytes()
        .all(|byte| byte.is_ascii_hexdigit())
        .then(|| u32::from_str_radix(digits, 16).ok())
        .flatten()
}

/// RFC 8259, section 6.
fn is_number(text: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let body = text.strip_prefix('-').unwrap_or(text);
    let (mantissa, exponent) = match body.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, Some(exponent)),
        None => (body, None),
    };
    let (whole, fraction) = match mantissa.split_once('.') {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (mantissa, None),
    };
    digits(whole)
        && (whole == "0" || !whole.starts_with('0'))
        && fraction.is_none_or(digits)
        && exponent.is_none_or(|exponent| digits(exponent.strip_prefix(['+', '-']).unwrap_or(exponent)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::Value;

    fn read(json: &mut Json) -> Result<Value, Failure> {
        let first = json.next()?;
        build(json, first)
    }

    fn build(json: &mut Json, first: Piece) -> Result<Value, Failure> {
        Ok(match first {
            Piece::Scalar(Scalar::Number(number)) => match number.parse::<i64>() {
                Ok(whole) => whole.into(),
                Err(_) => number.parse::<f64>().unwrap_or_default().into(),
            },
            Piece::Scalar(Scalar::Text(text)) => text.into(),
            Piece::Scalar(Scalar::Truth(truth)) => truth.into(),
            Piece::StartArray => {
                let mut list = Vec::new();
                loop {
                    match json.next()? {
                        Piece::EndArray => return Ok(list.into()),
                        piece => list.push(build(json, piece)?),
                    }
                }
            }
            Piece::StartObject => {
                let mut map = serde_json::Map::new();
                loop {
                    match json.next()? {
                        Piece::Key(key) => {
                            let value = read(json)?;
                            map.insert(key, value);
                        }
                        _ => return Ok(map.into()),
                    }
                }
            }
            _ => Value::Null,
        })
    }

    fn whole(text: &str) -> Result<Value, Failure> {
        let mut json = Json::new(text.as_bytes(), 0);
        let value = read(&mut json)?;
        if json.is_at_end() {
            Ok(value)
        } else {
            Err(json.wrong("more"))
        }
    }

    fn any_value() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            Just(Value::Null),
            any::<bool>().prop_map(Value::from),
            any::<i64>().prop_map(Value::from),
            (-1e9..1e9f64).prop_map(Value::from),
            "[^\\x00-\\x1f\\x7f-\\x9f]{0,12}".prop_map(Value::from),
        ];
        leaf.prop_recursive(5, 40, 6, |inner| {
            prop_oneof![
                proptest::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
                proptest::collection::btree_map("[^\\x00-\\x1f\\x7f-\\x9f]{0,6}", inner, 0..6)
                    .prop_map(|map| Value::Object(map.into_iter().collect())),
            ]
        })
    }

    proptest! {
        #[test]
        fn agrees_with_an_independent_reader(value in any_value(), pretty in any::<bool>()) {
            let text = if pretty { serde_json::to_string_pretty(&value) } else { serde_json::to_string(&value) };
            prop_assert_eq!(whole(&text.unwrap()), Ok(value));
        }

        #[test]
        fn what_an_independent_reader_refuses_is_refused(text in r#"[\[\]{}:,"0-9.eE+\-truefalsn\\ ]{0,16}"#) {
            let theirs = serde_json::from_str::<Value>(&text).is_ok();
            let ours = whole(&text).is_ok();
            // Where an exponent goes beyond any number, the text is still JSON.
            prop_assert!(theirs == ours || ours && text.contains(['e', 'E']), "{} {} {}", text, theirs, ours);
        }

        #[test]
        fn no_bytes_panic(bytes in proptest::collection::vec(any::<u8>(), 0..60)) {
            let mut json = Json::new(&bytes, 0);
            while let Ok(piece) = json.next() {
                if piece == Piece::End {
                    break;
                }
            }
        }
    }

    #[test]
    fn mistakes_have_their_place() {
        let place = |text: &str| whole(text).unwrap_err().place();
        assert_eq!(place("{\"a\": 1,\n \"b\": }"), Some((2, 7)));
        assert_eq!(place("[1, 2"), Some((1, 6)));
        assert_eq!(place("[1,\n\"open"), Some((2, 1)));
        assert_eq!(place("[01]"), Some((1, 2)));
        assert_eq!(place(&"[".repeat(70)), Some((1, 65)));
    }
}
