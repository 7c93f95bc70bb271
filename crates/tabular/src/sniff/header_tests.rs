//! Tests of finding the table.

use super::super::delimiter;
use super::*;

fn table(text: &str) -> Table {
    let split = delimiter::find(text, true, 300, delimiter::Given::default(), &|_| false).unwrap();
    find(text, true, &split, Given::default(), None, &|_| false).unwrap()
}

#[test]
fn plain_header() {
    let table = table("time,x,PAR\n10:00,1,2\n");
    assert_eq!(
        (table.header_line, table.start_line, table.end_line),
        (1, 2, None)
    );
    assert_eq!(table.names, ["time", "x", "PAR"]);
    assert!(table.units.is_empty());
}

#[test]
fn preamble_units_and_legend() {
    let text = "Survey;North\nSerial;12345\n\nX;Y;PAR\ncm;cm;\u{b5}mol/m\u{b2}/s\n1;2;100\n1;3;120\n1;4;130\n\nPAR: light\nby hand\n";
    let table = table(text);
    assert_eq!(
        (table.header_line, table.start_line, table.end_line),
        (4, 6, Some(10))
    );
    assert_eq!(table.units, ["cm", "cm", "\u{b5}mol/m\u{b2}/s"]);
    assert_eq!(table.preamble.len(), 3);
}

#[test]
fn header_in_a_comment() {
    let table = table("# made by hand\n# time,PAR\n10:00,1.5\n10:01,2.5\n");
    assert_eq!((table.header_line, table.start_line), (2, 3));
    assert_eq!(table.names, ["time", "PAR"]);
}

#[test]
fn header_with_brackets_over_blanks() {
    let table = table("x (cm)  y (cm)  PAR (umol m-2 s-1)\n1 2 30.5\n2 2 31.5\n");
    assert_eq!(table.names, ["x (cm)", "y (cm)", "PAR (umol m-2 s-1)"]);
    let table = self::table("x (cm) y (cm) PAR (umol m-2 s-1)\n1 2 30.5\n2 2 31.5\n");
    assert_eq!(table.names, ["x (cm)", "y (cm)", "PAR (umol m-2 s-1)"]);
}

#[test]
fn fields_far_above() {
    let table = table(
        "/begin_header\n/fields=time,x,par\n/units=hh:mm:ss,cm,umol/m2/s\n/note=made by hand\n/end_header\n10:00:00,1,2.5\n10:01:00,1,3.5\n",
    );
    assert_eq!((table.header_line, table.start_line), (2, 6));
    assert_eq!(table.names, ["time", "x", "par"]);
    assert_eq!(table.units[2], "umol/m2/s");
}

#[test]
fn two_header_lines() {
    let table = table("Position,Position,Light\nX,Y,PAR\n1,2,30\n1,3,40\n");
    assert_eq!(table.start_line, 3);
    assert!(
        table.names[0].contains('X') && table.names[2].contains("PAR"),
        "{:?}",
        table.names
    );
}

#[test]
fn no_header() {
    let table = table("1,2,30.5\n1,3,40.5\n");
    assert_eq!((table.header_line, table.start_line), (0, 1));
    assert!(table.names.is_empty());
}

#[test]
fn a_rule_under_the_header() {
    let table = table("| x | PAR |\n|---|-----|\n| 1 | 20 |\n| 2 | 30 |\n");
    assert_eq!(table.start_line, 3);
    assert!(table.names.contains(&"PAR".to_owned()));
}

#[test]
fn a_preamble_that_looks_like_a_row() {
    let table = table("Serial;12345\nPoint;PAR\nA1;100\nA2;120\n");
    assert_eq!((table.header_line, table.start_line), (2, 3));
}

#[test]
fn a_preamble_of_names() {
    let table = table("Sensor;PAR\nPlace;North\nTime;Value\n10:00;100\n10:01;120\n");
    assert_eq!((table.header_line, table.start_line), (3, 4));
}
