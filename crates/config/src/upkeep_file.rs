//! A tank's upkeep list: `upkeep/<tank>.csv`, and lists dropped into the inbox (formats, section 3).

use crate::mention::{Mention, What};
use crate::mistake::{Mistake, nearest, shown};
use crate::sheet::{Placed, Sheet, whole_file};
use jiff::civil::Date;
use std::path::Path;
use undim_model::{Upkeep, UpkeepKind};

const COLUMNS: [&str; 4] = ["date", "what", "where", "remark"];

/// What a spreadsheet may part the cells of a dropped list by.
const DELIMITERS: [char; 3] = [',', ';', '\t'];

/// More than this at the start of a file is no header.
const LONGEST_HEADER: usize = 512;

/// True for the beginning of a list of upkeep: its first line holds the list's own columns and nothing else.
pub fn is_upkeep(start: &[u8]) -> bool {
    delimiter_of(start).is_some()
}

/// The delimiter of a list of upkeep, by its header.
fn delimiter_of(start: &[u8]) -> Option<char> {
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(start);
    let line = start
        .split(|byte| matches!(byte, b'\n' | b'\r'))
        .find(|line| !line.is_empty())?;
    let line = std::str::from_utf8(line.get(..LONGEST_HEADER.min(line.len()))?).ok()?;
    let is_header = |delimiter: &char| {
        let cells: Vec<String> = line
            .split(*delimiter)
            .map(|cell| cell.trim().trim_matches('"').trim().to_ascii_lowercase())
            .collect();
        let has = |column: &str| cells.iter().any(|cell| cell == column);
        has("date") && has("what") && cells.iter().all(|cell| COLUMNS.contains(&cell.as_str()))
    };
    DELIMITERS.into_iter().find(is_header)
}

/// Reads a list of upkeep that was dropped into the inbox, in written order; commas, semicolons or tabs may part
/// its cells. `file` is how mistakes name it. What its `where` names is not looked up.
pub fn parse_upkeep(text: &[u8], file: impl AsRef<Path>) -> Result<Vec<Upkeep>, Vec<Mistake>> {
    let file = file.as_ref();
    let Ok(written) = std::str::from_utf8(text) else {
        let line = 1 + String::from_utf8_lossy(text)
            .lines()
            .position(|line| line.contains('\u{fffd}'))
            .unwrap_or_default();
        return Err(vec![whole_file(
            file,
            format!("line {line} of this list is no UTF-8 text"),
            "save it again as UTF-8",
        )]);
    };
    let sheet = Sheet::new(file, written);
    let (list, _) = read_list(&sheet, "", delimiter_of(text).unwrap_or(','));
    let (_, _, mistakes) = sheet.close();
    if mistakes.is_empty() {
        Ok(list)
    } else {
        Err(mistakes)
    }
}

/// Reads a tank's upkeep list, in written order.
pub(crate) fn read_upkeep(sheet: &Sheet, tank: &str) -> (Vec<Upkeep>, Vec<Mention>) {
    read_list(sheet, tank, ',')
}

fn read_list(sheet: &Sheet, tank: &str, delimiter: char) -> (Vec<Upkeep>, Vec<Mention>) {
    let (records, unclosed) = records(&sheet.text, delimiter);
    if let Some(quote) = unclosed {
        sheet.mistake(
            &quote,
            "this double quote is never closed; the lines below it would be lost in the remark",
            "put another double quote where the remark ends",
        );
    }
    let mut records = records.into_iter();
    let Some(header) = records.next() else {
        sheet.mistake(
            &(0..0),
            "the list is empty",
            "begin it with the line `date,what,where,remark`",
        );
        return (Vec::new(), Vec::new());
    };
    let Some(order) = header_order(sheet, &header) else {
        return (Vec::new(), Vec::new());
    };
    let mut list = Vec::new();
    let mut mentions = Vec::new();
    for record in records {
        // A spreadsheet's empty rows.
        if record.len() > 1 && record.iter().all(|cell| cell.value.trim().is_empty()) {
            continue;
        }
        if let Some(extra) = record.get(order.len()) {
            sheet.mistake(
                &extra.span,
                format!("this line has {} cells, the header {}", record.len(), order.len()),
                format!(
                    "put a remark that holds a {} in double quotes",
                    delimiter_word(delimiter)
                ),
            );
            continue;
        }
        let cell = |column: &str| {
            let at = order.iter().position(|name| *name == column)?;
            let cell = record.get(at)?;
            (!cell.value.trim().is_empty()).then(|| Placed {
                value: cell.value.trim().to_owned(),
                span: cell.span.clone(),
            })
        };
        let whole = record.first().map_or(0..0, |cell| cell.span.clone());
        let date = date(sheet, cell("date"), &whole);
        let what = what(sheet, cell("what"), &whole);
        let target = cell("where");
        mentions.extend(target.clone().map(|name| Mention {
            what: What::Upkept {
                tank: tank.to_owned(),
            },
            name,
        }));
        if let (Some(date), Some(what)) = (date, what) {
            list.push(Upkeep {
                date,
                what,
                target: target.map(|target| target.value),
                remark: cell("remark").map(|remark| remark.value),
            });
        }
    }
    (list, mentions)
}

fn delimiter_word(delimiter: char) -> &'static str {
    match delimiter {
        ';' => "semicolon",
        '\t' => "tab",
        _ => "comma",
    }
}

/// The columns in the order of the file; `None` where they can't be told.
fn header_order(sheet: &Sheet, header: &[Placed<String>]) -> Option<Vec<&'static str>> {
    let line = header.first()?.span.start..header.last()?.span.end;
    let mut order = Vec::new();
    for cell in header {
        let name = cell.value.trim().to_ascii_lowercase();
        let Some(known) = COLUMNS.into_iter().find(|column| *column == name) else {
            let hint = if cell.value.contains([';', '\t']) {
                "part the cells by commas: date,what,where,remark".to_owned()
            } else if let Some(near) = nearest(&name, COLUMNS) {
                format!("did you mean \"{near}\"?")
            } else {
                "the columns are date,what,where,remark".to_owned()
            };
            sheet.mistake(
                &cell.span,
                format!("unknown column `{}`", shown(&cell.value)),
                hint,
            );
            return None;
        };
        if order.contains(&known) {
            sheet.mistake(
                &cell.span,
                format!("the column `{known}` stands twice"),
                "remove one of the two",
            );
            return None;
        }
        order.push(known);
    }
    for needed in ["date", "what"] {
        if !order.contains(&needed) {
            sheet.mistake(
                &line,
                format!("the column `{needed}` is missing"),
                "begin the list with `date,what,where,remark`",
            );
            return None;
        }
    }
    Some(order)
}

fn date(sheet: &Sheet, cell: Option<Placed<String>>, line: &crate::sheet::Span) -> Option<Date> {
    let hint = "write year, month and day, as 2026-03-20";
    let Some(cell) = cell else {
        sheet.mistake(line, "this line has no date", hint);
        return None;
    };
    // Only this one form: the list is read for ever, and 03/04/2026 is two days.
    let is_plain = cell.value.len() == 10 && cell.value.bytes().all(|b| b.is_ascii_digit() || b == b'-');
    let date = cell.value.parse::<Date>().ok().filter(|_| is_plain);
    if date.is_none() {
        sheet.mistake(&cell.span, format!("`{}` is no date", shown(&cell.value)), hint);
    }
    date
}

fn what(sheet: &Sheet, cell: Option<Placed<String>>, line: &crate::sheet::Span) -> Option<UpkeepKind> {
    let words = UpkeepKind::ALL.iter().map(|kind| kind.word());
    let list = words.clone().collect::<Vec<_>>().join(", ");
    let Some(cell) = cell else {
        sheet.mistake(
            line,
            "this line doesn't say what was done",
            format!("write one of {list}"),
        );
        return None;
    };
    let kind = UpkeepKind::from_word(&cell.value);
    if kind.is_none() {
        let hint = match nearest(&cell.value, words) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("write one of {list}"),
        };
        sheet.mistake(
            &cell.span,
            format!("`{}` is no kind of upkeep", shown(&cell.value)),
            hint,
        );
    }
    kind
}

/// The records of a text parted by a delimiter (RFC 4180) with the place of every cell, empty lines passed
/// over, and where a quote stands that never closes: it ends with the text, and hides what is below it. The
/// csv crate, which a test holds this against, tells places of records only.
fn records(text: &str, delimiter: char) -> (Vec<Vec<Placed<String>>>, Option<crate::sheet::Span>) {
    let mut records = Vec::new();
    let mut record = Vec::new();
    let mut cell = String::new();
    let mut start = 0;
    let mut quoted = false;
    let mut characters = text.char_indices().peekable();
    while let Some((at, c)) = characters.next() {
        match c {
            '"' if quoted => {
                if characters.next_if(|(_, next)| *next == '"').is_some() {
                    cell.push('"');
                } else {
                    quoted = false;
                }
            }
            c if quoted => cell.push(c),
            '"' if at == start => quoted = true,
            c if c == delimiter => {
                record.push(Placed {
                    value: std::mem::take(&mut cell),
                    span: start..at,
                });
                start = at + 1;
            }
            '\n' | '\r' => {
                end_record(&mut records, &mut record, &mut cell, start..at);
                start = at + 1;
            }
            c => cell.push(c),
        }
    }
    end_record(&mut records, &mut record, &mut cell, start..text.len());
    (records, quoted.then(|| start..start + 1))
}

fn end_record(
    records: &mut Vec<Vec<Placed<String>>>,
    record: &mut Vec<Placed<String>>,
    cell: &mut String,
    span: crate::sheet::Span,
) {
    if record.is_empty() && span.is_empty() {
        return;
    }
    record.push(Placed {
        value: std::mem::take(cell),
        span,
    });
    records.push(std::mem::take(record));
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn plain(text: &str) -> Vec<Vec<String>> {
        let records = records(text, ',').0;
        let cells = |record: Vec<Placed<String>>| record.into_iter().map(|cell| cell.value).collect();
        records.into_iter().map(cells).collect()
    }

    #[test]
    fn rfc_4180() {
        // The examples of RFC 4180, section 2.
        assert_eq!(
            plain("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"),
            [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]
        );
        assert_eq!(
            plain("aaa,bbb,ccc\r\nzzz,yyy,xxx"),
            [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]
        );
        assert_eq!(
            plain("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
            [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]
        );
        assert_eq!(plain("\"aaa\",\"b\"\"bb\",\"ccc\""), [["aaa", "b\"bb", "ccc"]]);
    }

    #[test]
    fn a_dropped_list_is_known_by_its_header_alone() {
        for header in [
            "date,what,where,remark",
            "\u{feff}Date;What;Where;Remark\r\n2026-03-20;lens-cleaned;west;",
            "\n\"date\"\t\"what\"",
            "what,date",
        ] {
            assert!(is_upkeep(header.as_bytes()), "{header}");
        }
        for other in [
            "",
            "date,PPFD",
            "date,what,PPFD",
            "date what",
            "time,what",
            "\0\0",
        ] {
            assert!(!is_upkeep(other.as_bytes()), "{other}");
        }
    }

    #[test]
    fn a_spreadsheets_habits_are_read_alike() {
        let plain = parse_upkeep(
            b"date,what,where,remark\n2026-03-20,lens-cleaned,west,\"a film; salt\"\n",
            "a.csv",
        );
        let saved =
            "\u{feff}date;what;where;remark\r\n2026-03-20;lens-cleaned;west;\"a film; salt\"\r\n;;;\r\n";
        assert_eq!(parse_upkeep(saved.as_bytes(), "a.csv"), plain);
        assert_eq!(plain.map(|list| list.len()), Ok(1));
    }

    #[test]
    fn a_wrong_word_or_day_is_told_with_its_line() {
        let told = parse_upkeep(
            b"date,what\n2026-03-20,lens-cleaned\n20/03/2026,lens-cleand\n",
            "a.csv",
        );
        let mistakes = told.expect_err("two mistakes");
        let lines: Vec<(usize, usize)> = mistakes.iter().map(|m| (m.line, m.column)).collect();
        assert_eq!(lines, [(3, 1), (3, 12)]);
        assert!(
            mistakes[1]
                .hint
                .as_deref()
                .is_some_and(|hint| hint.contains("lens-cleaned"))
        );
        assert!(parse_upkeep(b"date,what\n2026-03-20,other\xff\n", "a.csv").is_err());
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_or_told(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = is_upkeep(&bytes);
            let _ = parse_upkeep(&[b"date;what;where\n".as_slice(), &bytes].concat(), "a.csv");
        }

        #[test]
        fn the_csv_crate_agrees(text in "([a,\"\n]|\r\n){0,40}") {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
            let theirs: Vec<Vec<String>> = reader
                .records()
                .map(|record| record.expect("text").iter().map(str::to_owned).collect())
                .collect();
            prop_assert_eq!(plain(&text), theirs);
        }

        #[test]
        fn a_cells_place_is_where_it_stands(text in "[a-c,\n]{0,40}") {
            for cell in records(&text, ',').0.into_iter().flatten() {
                prop_assert_eq!(&text[cell.span], cell.value);
            }
        }
    }
}
