//! What a file brings to each of its readings, looked up once and again when it changes.

use crate::source::Source;
use crate::stage::WARM_UP_MIN;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::BTreeSet;
use std::rc::Rc;
use undim_model::{ImportedRow, Medium, Reasons, Text};
use undim_place::light::Light;
use undim_place::{FrameInUse, TankOnDay};

/// So many places are remembered; a rod goes back and forth between few.
const REMEMBERED: usize = 16;

/// One file, and what was last looked up for it.
pub(crate) struct AtSource {
    pub(crate) path: Text,
    device_note: Option<Text>,
    device_fallback: Option<Text>,
    station_note: Option<Text>,
    station_fallback: Option<Text>,
    pub(crate) warm_up: bool,
    /// The device that was last asked for.
    pub(crate) last_device: Option<(Option<Text>, usize)>,
    /// The unit that was last looked up, as a row states it.
    pub(crate) last_unit: Option<(Text, usize)>,
    pub(crate) today: Option<Today>,
    recent: Vec<(PlaceKey, Placed)>,
    oldest: usize,
    /// Undeclared names as given, each with the id made of it.
    pub(crate) renamed: BTreeSet<(String, String)>,
}

/// A day of the site's zone, for one file.
pub(crate) struct Today {
    pub(crate) from: Timestamp,
    /// Not of the day any more.
    pub(crate) until: Timestamp,
    pub(crate) date: Date,
    pub(crate) tank: Rc<TankOnDay>,
    pub(crate) frame: FrameInUse,
    /// Where the frame says how well a place is found again.
    pub(crate) light: Option<Light>,
}

/// What has to be the same for a reading to lie where another one does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PlaceKey {
    device: usize,
    xyz: [Option<u64>; 3],
    station: Option<Text>,
}

/// Where a reading lies.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Placed {
    pub(crate) station: Option<usize>,
    pub(crate) position_cm: [Option<f64>; 3],
    pub(crate) medium: Medium,
    /// `no-position`, `position-off`, `outside-tank`.
    pub(crate) reasons: Reasons,
    /// Relative standard uncertainties from `place_cm` and `rod_cm`.
    pub(crate) u_place: f64,
    pub(crate) u_rod: f64,
}

impl Placed {
    /// Of a reading that was never looked up.
    pub(crate) const NOWHERE: Self = Self {
        station: None,
        position_cm: [None; 3],
        medium: Medium::Water,
        reasons: Reasons::NONE,
        u_place: 0.0,
        u_rod: 0.0,
    };
}

impl AtSource {
    pub(crate) fn new(source: &Source<'_>) -> Self {
        let text = |name: &Option<String>| {
            name.as_deref()
                .and_then(|name| stated(&Text::from(name)).cloned())
        };
        Self {
            path: source.file.path.clone(),
            device_note: text(&source.device_note),
            device_fallback: text(&source.device_fallback),
            station_note: text(&source.station_note),
            station_fallback: text(&source.station_fallback),
            warm_up: source
                .fixtures_on_min
                .is_some_and(|minutes| minutes < WARM_UP_MIN),
            last_device: None,
            last_unit: None,
            today: None,
            recent: Vec::new(),
            oldest: 0,
            renamed: BTreeSet::new(),
        }
    }

    /// Note, file column, route or folders (formats, section 10, intake).
    pub(crate) fn device_name<'r>(&'r self, row: &'r ImportedRow) -> Option<&'r Text> {
        (self.device_note.as_ref())
            .or_else(|| stated_in(row.device.as_ref()))
            .or(self.device_fallback.as_ref())
    }

    /// The same for stations.
    pub(crate) fn station_name<'r>(&'r self, row: &'r ImportedRow) -> Option<&'r Text> {
        (self.station_note.as_ref())
            .or_else(|| stated_in(row.station.as_ref()))
            .or(self.station_fallback.as_ref())
    }

    /// A reading at a place that was looked up not long ago.
    pub(crate) fn remembered(&self, row: &ImportedRow, device: usize) -> Option<Placed> {
        let xyz = bits(row);
        self.recent
            .iter()
            .find(|(key, _)| key.xyz == xyz && key.device == device && key.station == row.station)
            .map(|(_, placed)| *placed)
    }

    pub(crate) fn remember(&mut self, row: &ImportedRow, device: usize, placed: Placed) {
        let key = PlaceKey {
            device,
            xyz: bits(row),
            station: row.station.clone(),
        };
        if self.recent.len() < REMEMBERED {
            self.recent.push((key, placed));
        } else {
            self.recent[self.oldest] = (key, placed);
            self.oldest = (self.oldest + 1) % REMEMBERED;
        }
    }

    /// A new day has other stations, another water level, another frame.
    pub(crate) fn turn_to(&mut self, today: Today) {
        self.recent.clear();
        self.oldest = 0;
        self.today = Some(today);
    }

    /// Notes an undeclared name that the id differs from.
    pub(crate) fn note_name(&mut self, given: &str, id: &str) {
        if given != id {
            self.renamed.insert((given.to_owned(), id.to_owned()));
        }
    }
}

fn bits(row: &ImportedRow) -> [Option<u64>; 3] {
    [row.x, row.y, row.z].map(|coordinate| coordinate.map(f64::to_bits))
}

fn stated(text: &Text) -> Option<&Text> {
    (!text.trim().is_empty()).then_some(text)
}

/// A text that says something: blanks are no name and no unit.
pub(crate) fn stated_in(text: Option<&Text>) -> Option<&Text> {
    text.and_then(stated)
}
