//! A blank sheet to take to the tank: a CSV to fill in, and the same as a page to print.
//!
//! The CSV comes back through the inbox as any file does. Its value column is the last: a decimal comma typed
//! into it without quotes then makes a cell too many, which is told, where in the middle it would be read as a
//! smaller value. Cautions are the usual ones; local codes and licensed people decide.

use super::label::{Anchor, Place, Placer, Rect, text_width};
use super::{STYLE, styled_document};
use crate::CsvStyle;
use crate::number::{self, short as f};
use crate::text_cell::{guarded, shown};
use maud::{Markup, html};
use undim_model::{Inside, UpkeepKind};

const SHEET_STYLE: &str = include_str!("blank.css");

/// Lines for places that have no name yet, on the page.
const MORE_LINES: usize = 4;
/// Lines of a sheet that knows no place.
const EMPTY_LINES: usize = 14;

/// A place on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct BlankPlace {
    /// Its name.
    pub station: String,
    /// Where the rod is to stand, in the keeper's x, y, z, cm.
    pub xyz_cm: [Option<f64>; 3],
    /// Where that is in the tank: from left, from bottom, from front, cm.
    pub at_cm: Option<[f64; 3]>,
}

/// A sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct BlankSheet<'a> {
    /// The tank, as shown to people.
    pub tank: &'a str,
    /// Its inside, where that is declared.
    pub inside: Option<&'a Inside>,
    /// The fixtures' names and where they hang, from left and from front.
    pub fixtures: Vec<(&'a str, [f64; 2])>,
    /// The places, in the order in which they are to be read.
    pub places: Vec<BlankPlace>,
    /// Where x, y and z point, and from where, in words.
    pub axes: &'a str,
    /// What is read with, where that is known.
    pub device: Option<&'a str>,
    /// UCUM code of what it reads in, where that is not PPFD.
    pub unit: Option<&'a str>,
    /// The scene, and what is set.
    pub scene: Option<&'a str>,
    /// The CSV's name.
    pub csv_name: &'a str,
    /// The folder that the filled-in sheet goes into.
    pub inbox: &'a str,
}

impl BlankSheet<'_> {
    fn value_heading(&self) -> String {
        self.unit
            .map_or_else(|| "PPFD".to_owned(), |unit| format!("light ({unit})"))
    }

    /// The CSV.
    pub fn csv(&self) -> Result<String, csv::Error> {
        let mut out = CsvStyle::Standard.writer(Vec::new());
        let heading = self.value_heading();
        out.write_record(["station", "x (cm)", "y (cm)", "z (cm)", "remark", &heading])?;
        let again = self.places.first().filter(|_| self.places.len() > 1);
        let lines = self.places.iter().map(|place| (place, ""));
        for (place, remark) in lines.chain(again.map(|first| (first, AGAIN))) {
            let [x, y, z] = place
                .xyz_cm
                .map(|number| number.map(centimetres).unwrap_or_default());
            out.write_record([&*guarded(&place.station), &x, &y, &z, remark, ""])?;
        }
        if self.places.is_empty() {
            for _ in 0..EMPTY_LINES {
                out.write_record([""; 6])?;
            }
        }
        let bytes = out.into_inner().map_err(csv::IntoInnerError::into_error)?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }

    /// The page.
    pub fn page(&self) -> String {
        let tank = shown(self.tank);
        let body = html! {
            main {
                p.over { (tank) " · a sheet to take to the tank" }
                h1 { "Survey of " (tank) }
                (before())
                (self.fields())
                (self.table())
                (self.views())
                (self.back())
                (upkeep())
            }
        };
        styled_document(
            &format!("{tank}: a sheet to take to the tank"),
            &format!("{STYLE}{SHEET_STYLE}"),
            &body,
        )
    }

    fn fields(&self) -> Markup {
        html! {
            section.fields {
                div { "Day" }
                div { "From, until" }
                div { "Read by" }
                div { "Device" @if let Some(device) = self.device { ": " (shown(device)) } }
                div { "Scene" @if let Some(scene) = self.scene { ": " (shown(scene)) } }
                div { "Fixtures on since (minutes)" }
                div { "Water, bottom pane to surface (cm)" }
                div { "Pumps off at, by timer" }
                div { "Pumps back on at" }
            }
        }
    }

    fn table(&self) -> Markup {
        let again = self.places.first().filter(|_| self.places.len() > 1);
        let empty = if self.places.is_empty() {
            EMPTY_LINES
        } else {
            MORE_LINES
        };
        html! {
            p { "x, y, z in cm: " (shown(self.axes)) "." }
            table.sheet {
                thead {
                    tr {
                        th.n { "no." } th { "place" } th.n { "x" } th.n { "y" } th.n { "z" }
                        th { (shown(&self.value_heading())) } th { "remark" }
                    }
                }
                tbody {
                    @for (number, place) in (1..).zip(&self.places) { (line(number, place, "")) }
                    @if let Some(first) = again { (line(1, first, AGAIN)) }
                    @for _ in 0..empty {
                        tr { td.n {} td.name {} td.n {} td.n {} td.n {} td.write {} td.remark {} }
                    }
                }
            }
            @if again.is_some() {
                p.quiet { "The first place is read once more at the end: how far the two differ tells how well a whole survey repeats, and so how small a loss can be seen." }
            }
        }
    }

    /// From above and from the front, the places by their numbers.
    fn views(&self) -> Markup {
        let Some(inside) = self.inside else {
            return Markup::default();
        };
        let spots: Vec<(usize, [f64; 3])> = (1..)
            .zip(&self.places)
            .filter_map(|(number, place)| Some((number, place.at_cm?)))
            .collect();
        if spots.is_empty() || inside.length_cm <= 0.0 {
            return Markup::default();
        }
        let above: Vec<(usize, [f64; 2])> = spots
            .iter()
            .map(|(number, [left, _, front])| (*number, [*left, inside.front_to_back_cm - front]))
            .collect();
        let front: Vec<(usize, [f64; 2])> = spots
            .iter()
            .map(|(number, [left, bottom, _])| (*number, [*left, inside.height_cm - bottom]))
            .collect();
        let fixtures: Vec<(&str, [f64; 2])> = self
            .fixtures
            .iter()
            .map(|(name, [left, front])| (*name, [*left, inside.front_to_back_cm - front]))
            .collect();
        html! {
            div.twoviews {
                figure { h2 { "From above, front pane at the bottom" } (view("from above", [inside.length_cm, inside.front_to_back_cm], None, &above, &fixtures)) }
                figure { h2 { "From the front" } (view("from the front", [inside.length_cm, inside.height_cm], inside.water_cm, &front, &[])) }
            }
        }
    }

    fn back(&self) -> Markup {
        html! {
            h3 { "Afterwards" }
            ul.after {
                li { strong { "Pumps back on? " } "Look once more before you leave." }
                li {
                    "Type the values into " code { (shown(self.csv_name)) } ", save it as CSV with the day in its name, as "
                    code { (shown(&self.csv_name.replace("blank", "2026-01-31"))) } ", and put it into " code { (shown(self.inbox)) }
                    ". Without a day in the name the day it was last saved counts."
                }
                li { "Places that you did not read stay empty. More lines are welcome: with x, y, z, or with a place's name alone. Decimal points and decimal commas are both read where the file is saved by a spreadsheet." }
            }
        }
    }
}

/// As somebody writes it by hand: no more decimals than there are.
fn centimetres(cm: f64) -> String {
    let text = number::position(cm);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

const AGAIN: &str = "the first place again";

fn line(number: usize, place: &BlankPlace, remark: &str) -> Markup {
    let [x, y, z] = place
        .xyz_cm
        .map(|number| number.map(centimetres).unwrap_or_default());
    html! {
        tr { td.n { (number) } td.name { (shown(&place.station)) } td.n { (x) } td.n { (y) } td.n { (z) } td.write {} td.remark { (remark) } }
    }
}

/// Before the hands go in.
fn before() -> Markup {
    html! {
        section.before {
            h2 { "Before you reach into the tank" }
            ul {
                li { "Pumps off by a timer that switches them on again; corals don't bear still water for long." }
                li { "Nothing on a charger near the water. Drip loops, and residual-current protection as your local code asks; that code and licensed people decide." }
                li { "Don't look into blue or UV fixtures." }
                li { "Leak-test the bag. Clean hands. Between tanks rinse and disinfect rod and sensor." }
                li { "Fixtures on for at least half an hour, under the same scene as last time; the same device, held level; arm and head out of the light." }
                li { "Never alone on a ladder or over deep water where the rules of the place forbid it." }
            }
        }
    }
}

fn upkeep() -> Markup {
    let words: Vec<&str> = UpkeepKind::ALL.iter().map(|kind| kind.word()).collect();
    html! {
        h3 { "Cleaned or changed since the last survey" }
        table.sheet {
            thead { tr { th { "date" } th { "what" } th { "where (fixture, device or place)" } th { "remark" } } }
            tbody { @for _ in 0..3 { tr { td.write {} td.write {} td.write {} td.write {} } } }
        }
        p.quiet { "what is one of " (words.join(", ")) "." }
    }
}

/// Width of a drawing, and how tall it may be.
const WIDTH: f64 = 300.0;
const TALLEST: f64 = 240.0;
const SPOT: f64 = 3.0;
const RING: f64 = 8.0;
const TEXT: f64 = 12.0;

/// A pane's outline with numbered spots; `spots` and `fixtures` are from left and from the upper edge, cm.
fn view(
    what: &str,
    [across, down]: [f64; 2],
    water: Option<f64>,
    spots: &[(usize, [f64; 2])],
    fixtures: &[(&str, [f64; 2])],
) -> Markup {
    let scale = ((WIDTH - 4.0) / across).min(TALLEST / down.max(1.0));
    let (width, height) = (across * scale, down * scale);
    let at = |[left, upper]: [f64; 2]| {
        (
            (left * scale).clamp(0.0, width) + 2.0,
            (upper * scale).clamp(0.0, height) + 2.0,
        )
    };
    let mut placer = Placer::new(Rect {
        left: 2.0,
        top: 2.0,
        right: width + 2.0,
        bottom: height + 2.0,
    });
    for (_, spot) in spots {
        let (x, y) = at(*spot);
        placer.take(Rect::around(x, y, SPOT));
    }
    for (_, centre) in fixtures {
        let (x, y) = at(*centre);
        placer.avoid(Rect::around(x, y, RING + 1.0));
    }
    let mut named = Vec::new();
    let mut crowded = Vec::new();
    for (number, spot) in spots {
        let (x, y) = at(*spot);
        let text = number.to_string();
        match placer.place(x, y, text_width(&text, TEXT, true), TEXT) {
            Some(place) => named.push((text, place)),
            None => crowded.push(text),
        }
    }
    let fixture_names: Vec<(String, Option<Place>, (f64, f64))> = fixtures
        .iter()
        .map(|(name, centre)| {
            let (x, y) = at(*centre);
            let text = shown(name).into_owned();
            let place = placer.place(x, y, text_width(&text, TEXT, true), TEXT);
            (text, place, (x, y))
        })
        .collect();
    html! {
        svg viewBox=(format!("0 0 {} {}", f(width + 4.0), f(height + 4.0))) role="img" aria-label=(format!("The tank {what}, its places by their numbers")) {
            rect class="water glass" x="2" y="2" width=(f(width)) height=(f(height)) {}
            @if let Some(water) = water {
                path.surface d=(format!("M2 {}H{}", f((height - water * scale).clamp(0.0, height) + 2.0), f(width + 2.0))) {}
            }
            @for (text, place, (x, y)) in &fixture_names {
                circle.fixture-spot cx=(f(*x)) cy=(f(*y)) r=(f(RING)) { title { (text) } }
                @if let Some(place) = place { (label("fixture-name", text, place)) }
            }
            @for (_, spot) in spots {
                @let (x, y) = at(*spot);
                circle.spot cx=(f(x)) cy=(f(y)) r=(f(SPOT)) {}
            }
            @for (text, place) in &named { (label("spot-number", text, place)) }
        }
        @if !crowded.is_empty() { p.quiet { "no room for " (crowded.join(", ")) } }
    }
}

fn label(class: &str, text: &str, place: &Place) -> Markup {
    let anchor = match place.anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    html! { text class=(class) x=(f(place.x())) y=(f(place.rect.bottom - 2.5)) text-anchor=(anchor) { (text) } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(places: Vec<BlankPlace>) -> BlankSheet<'static> {
        BlankSheet {
            tank: "Lantern <b>",
            inside: None,
            fixtures: Vec::new(),
            places,
            axes: "x right, y up, z back",
            device: None,
            unit: None,
            scene: None,
            csv_name: "lantern-blank.csv",
            inbox: "inbox",
        }
    }

    fn place(station: &str) -> BlankPlace {
        BlankPlace {
            station: station.to_owned(),
            xyz_cm: [Some(35.0), Some(38.5), None],
            at_cm: None,
        }
    }

    #[test]
    fn the_value_is_the_last_column_and_the_first_place_comes_again() {
        let csv = sheet(vec![place("reef-top"), place("=sum")])
            .csv()
            .expect("a sheet");
        assert_eq!(
            csv,
            "station,x (cm),y (cm),z (cm),remark,PPFD\nreef-top,35,38.5,,,\n'=sum,35,38.5,,,\nreef-top,35,38.5,,the first place again,\n"
        );
    }

    #[test]
    fn without_places_there_are_lines_to_fill_in() {
        let csv = sheet(Vec::new()).csv().expect("a sheet");
        assert_eq!(csv.lines().count(), 1 + EMPTY_LINES);
        assert!(csv.lines().skip(1).all(|line| line == ",,,,,"), "{csv}");
    }

    #[test]
    fn the_page_has_the_cautions_and_escapes_names() {
        let page = sheet(vec![place("reef-top")]).page();
        assert!(page.contains("Pumps off by a timer") && page.contains("Pumps back on?"));
        assert!(page.contains("Lantern &lt;b&gt;") && !page.contains("<script"));
    }
}
