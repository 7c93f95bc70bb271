//! Books that would fill the memory or are none: refused with a sentence, before anything is unpacked in full.

#![expect(clippy::unwrap_used, reason = "what fails here fails the test")]

use proptest::prelude::*;
use std::io::{Cursor, Write as _};
use undim_importer_sheet::SheetImporter;
use undim_sdk::testing::{probe, run};
use zip::write::SimpleFileOptions;

/// An archive of these parts.
fn archive(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in parts {
        writer.start_file(*name, SimpleFileOptions::default()).unwrap();
        writer.write_all(content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn refused(file: &[u8]) -> String {
    let outcome = run::<SheetImporter>(file, "book.xlsx", &[]);
    assert!(outcome.rows.is_empty());
    outcome.result.unwrap_err().text().to_owned()
}

const CONTENT_TYPES: &str = r#"<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>"#;
const RELATIONS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const BOOK: &str = r#"<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="A" sheetId="1" r:id="r1"/></sheets></workbook>"#;
const BOOK_RELATIONS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#;

/// A book of one sheet with these rows, and further parts.
fn book(rows: &str, more: &[(&str, &[u8])]) -> Vec<u8> {
    let sheet = format!(
        r#"<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{rows}</sheetData></worksheet>"#
    );
    let mut parts: Vec<(&str, &[u8])> = vec![
        ("[Content_Types].xml", CONTENT_TYPES.as_bytes()),
        ("_rels/.rels", RELATIONS.as_bytes()),
        ("xl/workbook.xml", BOOK.as_bytes()),
        ("xl/_rels/workbook.xml.rels", BOOK_RELATIONS.as_bytes()),
        ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
    ];
    parts.extend(more);
    archive(&parts)
}

#[test]
fn what_unpacks_without_end_is_refused() {
    let blanks = vec![b' '; 20 << 20];
    let bomb = book("", &[("xl/media/picture.bin", &blanks)]);
    assert!(bomb.len() < 1 << 20);
    let text = refused(&bomb);
    assert!(text.contains("unpacks to more than"), "{text}");
}

#[test]
fn cells_far_apart_cost_nothing() {
    let rows =
        r#"<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>2</v></c></row>"#;
    let text = refused(&book(rows, &[]));
    assert!(text.contains("column 16384"), "{text}");
}

#[test]
fn a_false_count_of_texts_is_refused() {
    let texts = br#"<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" count="4000000000" uniqueCount="4000000000"></sst>"#;
    let text = refused(&book("", &[("xl/sharedStrings.xml", texts)]));
    assert!(text.contains("claims 4000000000 texts"), "{text}");
}

#[test]
fn a_cell_repeated_without_end_is_refused() {
    let content = r#"<office:document-content><table:table><table:table-row table:number-rows-repeated="1048576"><table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="1024"/></table:table-row></table:table></office:document-content>"#;
    let text = refused(&archive(&[
        ("mimetype", b"application/vnd.oasis.opendocument.spreadsheet"),
        ("content.xml", content.as_bytes()),
    ]));
    assert!(text.contains("cells or more"), "{text}");
}

#[test]
fn an_extent_that_an_old_book_only_claims_is_refused() {
    let mut old = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".to_vec();
    old.resize(512, 0);
    old.extend([0x00, 0x02, 0x0e, 0x00]);
    old.extend(0_u32.to_le_bytes());
    old.extend(65_536_u32.to_le_bytes());
    old.extend(0_u16.to_le_bytes());
    old.extend(256_u16.to_le_bytes());
    old.extend([0, 0]);
    let text = refused(&old);
    assert!(text.contains("16777216 cells"), "{text}");
}

#[test]
fn what_is_no_book_is_refused() {
    assert!(refused(b"").contains("empty"));
    assert!(refused(b"time,par\n").contains("no spreadsheet"));
    assert!(refused(&archive(&[("readme.txt", b"hello")])).contains("no spreadsheet"));
    let whole = book(r#"<row r="1"><c r="A1"><v>1</v></c></row>"#, &[]);
    let text = refused(whole.get(..whole.len() / 2).unwrap());
    assert!(text.contains("damaged or cut off"), "{text}");
    assert_eq!(probe::<SheetImporter>(b"PK\x03\x04 something else", "a.zip"), 0);
    assert!(probe::<SheetImporter>(&whole, "a.xlsx") > 90);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// A book with bytes changed here and there is read or refused, and nothing else.
    #[test]
    fn damaged_books_are_read_or_refused(changes in proptest::collection::vec((any::<u16>(), any::<u8>()), 1..6)) {
        let mut file = book(r#"<row r="1"><c r="A1" t="inlineStr"><is><t>PPFD</t></is></c></row><row r="2"><c r="A2"><v>1.5</v></c></row>"#, &[]);
        for (at, byte) in changes {
            let at = usize::from(at) % file.len();
            file[at] = byte;
        }
        let outcome = run::<SheetImporter>(&file, "book.xlsx", &[]);
        prop_assert!(outcome.result.is_ok() || !outcome.result.unwrap_err().text().is_empty());
    }
}
