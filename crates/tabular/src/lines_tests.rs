//! Tests of splitting.

use super::*;
use proptest::prelude::*;

fn all(text: &str, delimiter: Delimiter) -> Result<Vec<(u64, Vec<String>)>, Broken> {
    let splitter = Splitter::new(delimiter, Some(b'"'));
    let mut record = Record::default();
    let (mut rest, mut line, mut out) = (text, 1, Vec::new());
    while !rest.is_empty() {
        let length = splitter.split(rest, true, &mut record)?.unwrap();
        out.push((
            line,
            (0..record.len())
                .map(|at| record.cell(rest, at).to_owned())
                .collect(),
        ));
        line += record.lines;
        rest = &rest[length..];
    }
    Ok(out)
}

fn cells(text: &str, delimiter: Delimiter) -> Vec<Vec<String>> {
    all(text, delimiter)
        .unwrap()
        .into_iter()
        .map(|(_, cells)| cells)
        .collect()
}

/// RFC 4180, section 2, rules 5 to 7 and their examples.
#[test]
fn rfc_4180() {
    let got = all(
        "\"aaa\",\"b \r\nbb\",\"ccc\" \r\nzzz,yyy,xxx\r\n\"aaa\",\"b\"\"bb\",\"ccc\"\r\n",
        Delimiter::Byte(b','),
    )
    .unwrap();
    assert_eq!(got[0], (1, vec!["aaa".into(), "b \r\nbb".into(), "ccc".into()]));
    assert_eq!(got[1], (3, vec!["zzz".into(), "yyy".into(), "xxx".into()]));
    assert_eq!(got[2], (4, vec!["aaa".into(), "b\"bb".into(), "ccc".into()]));
}

#[test]
fn odd_but_readable() {
    let comma = Delimiter::Byte(b',');
    assert_eq!(
        cells("a,b\rc,d\n\ne,f\r\n", comma),
        [vec!["a", "b"], vec!["c", "d"], vec![""], vec!["e", "f"]]
    );
    assert_eq!(cells("a, \"b,c\" ,d", comma), [["a", "b,c", "d"]]);
    assert_eq!(cells("\"ab\"cd,e", comma), [["abcd", "e"]]);
    assert_eq!(cells("5\" pipe,e", comma), [["5\" pipe", "e"]]);
    assert_eq!(cells("a,,", comma), [["a", "", ""]]);
    assert_eq!(
        cells("  1.5  -2\t3 \n4 5 6", Delimiter::Blanks),
        [["1.5", "-2", "3"], ["4", "5", "6"]]
    );
    assert_eq!(cells("a b, c\n", Delimiter::None), [["a b, c"]]);
}

#[test]
fn limits_hold() {
    let comma = Delimiter::Byte(b',');
    assert_eq!(
        all("a\nb,\"open\n1,2\n", comma),
        Err(Broken::Unclosed { lines_below: 0 })
    );
    let long = format!("\"{}\n\",1\n", "x\n".repeat(15));
    assert_eq!(all(&long, comma), Err(Broken::Unclosed { lines_below: 0 }));
    assert!(all(&format!("\"{}\",1\n", "x\n".repeat(15)), comma).is_ok());
    assert_eq!(all(&",".repeat(MOST_CELLS), comma), Err(Broken::TooManyCells));
    assert!(all(&",".repeat(MOST_CELLS - 1), comma).is_ok());
    assert_eq!(all(&"x".repeat(MOST_BYTES + 1), comma), Err(Broken::TooLong));
    let splitter = Splitter::new(comma, Some(b'"'));
    let mut record = Record::default();
    assert_eq!(splitter.split("a,b\r", false, &mut record), Ok(None));
    assert_eq!(splitter.split("a,\"b\"", false, &mut record), Ok(None));
    assert_eq!(splitter.split("a,b\n", false, &mut record), Ok(Some(4)));
    assert_eq!(
        splitter.split(&"x".repeat(MOST_BYTES + 1), false, &mut record),
        Err(Broken::TooLong)
    );
}

proptest! {
    /// What the csv crate writes, quoted where it must be, both read alike.
    #[test]
    fn agrees_with_the_csv_crate(
        rows in prop::collection::vec(prop::collection::vec("[a-z0-9.,;\"\n]{0,6}", 3), 1..8),
        delimiter in prop::sample::select(vec![b',', b';', b'\t', b'|']),
        windows in any::<bool>(),
    ) {
        let terminator = if windows { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') };
        let mut writer = csv::WriterBuilder::new().delimiter(delimiter).terminator(terminator).from_writer(Vec::new());
        for row in &rows {
            writer.write_record(row).unwrap();
        }
        let text = String::from_utf8(writer.into_inner().unwrap()).unwrap();
        let theirs: Vec<Vec<String>> = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .from_reader(text.as_bytes())
            .records()
            .map(|record| record.unwrap().iter().map(|cell| cell.trim().to_owned()).collect())
            .collect();
        prop_assert_eq!(cells(&text, Delimiter::Byte(delimiter)), theirs);
    }

    /// And any text without quotes at all.
    #[test]
    fn agrees_without_quotes(text in "[a-z0-9.,;\n]{0,60}") {
        let theirs: Vec<Vec<String>> = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(text.as_bytes())
            .records()
            .map(|record| record.unwrap().iter().map(str::to_owned).collect())
            .collect();
        // The csv crate passes empty lines over; we hand them out.
        let ours: Vec<Vec<String>> =
            cells(&text, Delimiter::Byte(b',')).into_iter().filter(|cells| cells != &[""]).collect();
        prop_assert_eq!(ours, theirs);
    }

    /// Wherever a block ends, the record is the same as in one piece.
    #[test]
    fn a_cut_changes_nothing(text in "[ab,\"\r\n ]{0,30}", cut in 0usize..30) {
        let splitter = Splitter::new(Delimiter::Byte(b','), Some(b'"'));
        let (mut whole, mut part) = (Record::default(), Record::default());
        let all = splitter.split(&text, true, &mut whole);
        let cut = cut.min(text.len());
        if let Ok(Some(length)) = splitter.split(&text[..cut], false, &mut part) {
            prop_assert_eq!(all, Ok(Some(length)));
            let read = |record: &Record| (0..record.len()).map(|at| record.cell(&text, at).to_owned()).collect::<Vec<_>>();
            prop_assert_eq!(read(&part), read(&whole));
        }
    }

    #[test]
    fn no_text_panics(text in "\\PC{0,40}", quote in any::<bool>()) {
        for delimiter in [Delimiter::Byte(b','), Delimiter::Blanks, Delimiter::None] {
            let splitter = Splitter::new(delimiter, quote.then_some(b'"'));
            let mut record = Record::default();
            let _ = splitter.split(&text, true, &mut record);
            let _ = splitter.split(&text, false, &mut record);
        }
    }
}
