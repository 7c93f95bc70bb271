//! A note beside a dropped file, `NAME.ext.note.toml` (formats, section 2).

use crate::item::Item;
use crate::mistake::Mistake;
use crate::sheet::{Sheet, whole_file};
use crate::walk::{Table, read};
use crate::words;
use jiff::civil::Date;
use std::path::Path;

/// What a note says; `None` where it doesn't name a key. Names stand as they were written: they match an
/// id, then a name, as a file's own do.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Note {
    /// The tank.
    pub tank: Option<String>,
    /// The device.
    pub device: Option<String>,
    /// The lighting scene.
    pub scene: Option<String>,
    /// The frame of the file's x, y, z.
    pub frame: Option<String>,
    /// The place where all was read; never a mounted sensor.
    pub station: Option<String>,
    /// The layout.
    pub layout: Option<String>,
    /// The day, for a file without any.
    pub date: Option<Date>,
    /// Added to the file's times, microseconds.
    pub clock_offset_us: Option<i64>,
    /// True where the pumps ran.
    pub pumps_on: Option<bool>,
    /// Bottom pane to surface on that day.
    pub water_cm: Option<f64>,
    /// How long the fixtures had been on, minutes.
    pub fixtures_on_min: Option<f64>,
    /// Who read.
    pub taken_by: Option<String>,
    /// Free text.
    pub remark: Option<String>,
    /// The description that lay beside the file: its name and its text. undim writes it, not the keeper.
    pub description: Option<(String, String)>,
}

/// What parts a note from the description that lay beside the file, which is kept with it.
const DESCRIPTION: &str = "# The description beside the file:\n";

/// What the keeper wrote of a note.
pub fn note_part(note: &str) -> &str {
    note.find(DESCRIPTION)
        .map_or(note, |at| note.get(..at).unwrap_or(note))
}

/// What a note holds of a description; empty where there was none.
pub fn description_part(note: &str) -> &str {
    note.find(DESCRIPTION)
        .map_or("", |at| note.get(at..).unwrap_or(""))
}

/// A note with the description that lies beside the file. `by` is the description's name.
pub fn with_description(note: &str, by: &str, text: &str) -> String {
    let note = note_part(note);
    let end = if note.is_empty() || note.ends_with('\n') {
        ""
    } else {
        "\n"
    };
    // A JSON text is a TOML text as well, but for one character.
    let quoted = |text: &str| {
        serde_json::Value::from(text)
            .to_string()
            .replace('\u{7f}', "\\u007F")
    };
    format!(
        "{note}{end}{DESCRIPTION}described_by = {}\ndescription = {}\n",
        quoted(by),
        quoted(text)
    )
}

/// Reads a note. `file` is how mistakes name it.
pub fn parse_note(text: &[u8], file: impl AsRef<Path>) -> Result<Note, Vec<Mistake>> {
    let file = file.as_ref();
    let Ok(text) = std::str::from_utf8(text) else {
        return Err(vec![whole_file(
            file,
            "this note is no UTF-8 text",
            "save it again as UTF-8",
        )]);
    };
    let sheet = Sheet::new(file, text);
    let note = read(&sheet, note);
    let (_, _, mistakes) = sheet.close();
    if mistakes.is_empty() {
        Ok(note)
    } else {
        Err(mistakes)
    }
}

fn note(top: &mut Table) -> Note {
    let mut text = |key| top.take(key).and_then(|item| item.text()).map(|text| text.value);
    let mut note = Note {
        tank: text("tank"),
        device: text("device"),
        scene: text("scene"),
        frame: text("frame"),
        station: text("station"),
        layout: text("layout"),
        ..Note::default()
    };
    // An empty remark is none, and no reason to hold a file back.
    let mut free_text = |key| {
        let text = top.take(key).and_then(|item| item.any_text());
        text.map(|text| text.value).filter(|text| !text.trim().is_empty())
    };
    note.taken_by = free_text("taken_by");
    note.remark = free_text("remark");
    note.description = free_text("described_by").zip(free_text("description"));
    note.date = top.take("date").and_then(|item| item.date());
    note.clock_offset_us = top.take("clock_offset").and_then(|item| clock_offset(&item));
    let pumps = [("off", false), ("on", true)];
    note.pumps_on = top.take("pumps").and_then(|item| item.word(&pumps));
    note.water_cm = top.take("water_cm").and_then(|item| item.positive());
    note.fixtures_on_min = top.take("fixtures_on_min").and_then(|item| item.amount());
    note
}

/// No clock was ever wrong by more than a century.
const LONGEST_OFFSET_S: f64 = 100.0 * 366.0 * 86_400.0;

fn clock_offset(item: &Item) -> Option<i64> {
    let hint = "write seconds, as 90, or \"+00:01:30\" where the file's clock was 90 s behind";
    if let Some(text) = item.value.as_str() {
        let offset = words::parse_clock_offset(text);
        if offset.is_none() {
            item.wrong("seconds or \"±HH:MM:SS\"", hint);
        }
        return offset;
    }
    let seconds = item.number()?;
    if seconds.abs() > LONGEST_OFFSET_S {
        item.wrong("an offset in seconds", hint);
        return None;
    }
    Some((seconds * 1e6).round() as i64)
}
