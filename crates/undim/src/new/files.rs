//! The texts of a first site: what was answered, and beside it, commented, what could be told later.

use super::{Answers, FixtureAnswer, Place, direction_words};
use undim_model::{Direction3, Frame, LengthUnit, Zero};

/// How high over the glass a fixture is taken to hang where nobody says, cm. Common practice, no source.
const ABOVE_THE_GLASS_CM: f64 = 20.0;

/// A file, or a folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct File {
    /// Relative to the site.
    pub(crate) path: String,
    /// `None` for a folder.
    pub(crate) text: Option<String>,
    /// What it is, in a few words.
    pub(crate) about: String,
}

/// What had to be assumed, each a sentence.
pub(crate) type Assumed = Vec<String>;

/// Every file of the site.
pub(crate) fn files(answers: &Answers, timezone: &str) -> (Vec<File>, Assumed) {
    let (tank, device) = (answers.tank_id(), answers.device_id());
    let mut assumed = Assumed::new();
    let file = |path: String, text: String, about: &str| File {
        path,
        text: Some(text),
        about: about.to_owned(),
    };
    let files = vec![
        file(
            "undim.toml".to_owned(),
            site_file(answers, timezone),
            "the site: time zone, folders, where alerts go",
        ),
        file(
            format!("tanks/{tank}.toml"),
            tank_file(answers, &mut assumed),
            "the tank: size, fixtures, stations, corals",
        ),
        file(
            format!("devices/{device}.toml"),
            device_file(answers),
            "what you read with, and how sure it is",
        ),
        file(
            format!("upkeep/{tank}.csv"),
            "date,what,where,remark\n".to_owned(),
            "what you cleaned or changed, a line each",
        ),
        File {
            path: "inbox".to_owned(),
            text: None,
            about: "files of readings go here".to_owned(),
        },
    ];
    (files, assumed)
}

/// A text as a basic string of TOML.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", c as u32)),
            c => out.push(c),
        }
    }
    out + "\""
}

/// A text that a comment can hold.
fn in_comment(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

/// A number as TOML wants a float.
fn float(number: f64) -> String {
    let rounded = (number * 100.0).round() / 100.0;
    if rounded == rounded.trunc() && rounded.abs() < 1e9 {
        format!("{rounded:.1}")
    } else {
        format!("{rounded}")
    }
}

fn floats<const N: usize>(numbers: [f64; N]) -> String {
    format!("[{}]", numbers.map(float).join(", "))
}

fn site_file(answers: &Answers, timezone: &str) -> String {
    let (tank, device) = (answers.tank_id(), answers.device_id());
    let mut text = format!(
        "# A site of undim: this file, and beside it tanks/, devices/ and upkeep/.
#
# Every key is optional; lines that begin with `#` and no blank are examples to take over. `undim check`
# shows every mistake with its line.

[site]
#name = \"North room\"              # as shown on pages; left out: this folder's name
timezone = {}       # for times without an offset, and for dates: this machine's when the site was made

# Where a file belongs is told by its folder, inbox/{tank}/{device}/; the first route that matches a file wins
# over its folder.

# A file right in inbox/ belongs to this tank, whatever tanks come later.
[[route]]
match = \"*\"
tank  = {}
",
        quoted(timezone),
        quoted(tank)
    );
    if answers.frame.is_some() {
        text.push_str(&format!(
            "frame = \"rod\"

# The x, y, z of your files are counted along your own rod: [[frame]] in tanks/{tank}.toml. A route for files
# that are counted otherwise goes above these.
[[route]]
match = {}
frame = \"rod\"
",
            quoted(&format!("{tank}/**"))
        ));
    }
    text.push_str(
        "
# Where alerts go; any number.
#[[notify]]
#kind = \"file\"
#path = \"outbox/notices.txt\"
",
    );
    text
}

fn tank_file(answers: &Answers, assumed: &mut Assumed) -> String {
    let name = answers.tank.as_ref().map_or("Tank", |tank| tank.name.as_str());
    let id = answers.tank_id();
    let mut text = format!(
        "# A tank. Places are [from left, from bottom, from front] in cm inside the glass, as you stand before it.
#
# Lines that begin with `#` and no blank are examples to take over. A block may carry `from` and `until`
# (dates): of a thing that was changed keep the old block and add the new one, so that the past stays as it was.

name = {}                        # as shown; its id, {id}, is this file's name
",
        quoted(name)
    );
    text.push_str(&inside_text(answers));
    text.push_str(&frame_text(answers.frame.as_ref()));
    text.push_str(&fixtures_text(answers, assumed));
    text.push_str(&scene_text(answers));
    text.push_str(&stations_text(&answers.stations));
    text.push_str(
        "
# Corals and the light they are to have; pages then say who gets too little or too much.
#[[coral]]
#id    = \"plating-1\"
#at_cm = [80.0, 22.0, 30.0]
#ppfd  = [100, 200]                # µmol m⁻² s⁻¹
",
    );
    text
}

fn inside_text(answers: &Answers) -> String {
    let Some(inside) = &answers.inside else {
        return "
# Inside measures: what lies outside is then flagged.
#[inside]
#length_cm        = 120.0          # left to right
#front_to_back_cm = 60.0
#height_cm        = 55.0
#water_cm         = 50.0           # bottom pane to surface
"
        .to_owned();
    };
    let water = inside.water_cm.map_or_else(
        || "#water_cm         = 50.0           # bottom pane to surface; measure it".to_owned(),
        |water| format!("water_cm         = {:<14} # bottom pane to surface", float(water)),
    );
    format!(
        "
[inside]
length_cm        = {:<14} # left to right
front_to_back_cm = {}
height_cm        = {}
{water}
",
        float(inside.length_cm),
        float(inside.front_to_back_cm),
        float(inside.height_cm)
    )
}

fn unit_code(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Millimetre => "mm",
        LengthUnit::Centimetre => "cm",
        LengthUnit::Metre => "m",
        LengthUnit::Inch => "in",
    }
}

fn frame_text(frame: Option<&Frame>) -> String {
    let Some(frame) = frame else {
        return "
# How the x, y, z of files lie in the tank. Without it they are the tank's own: x from left, y from bottom,
# z from front, in cm. A route in undim.toml says which files are counted so.
#[[frame]]
#id        = \"rod\"
#origin_cm = [120.0, 0.0, 60.0]    # where 0, 0, 0 lies
#axes      = [\"left\", \"up\", \"front\"]   # where x, y and z point
#unit      = \"cm\"                  # mm, cm, m or in
"
        .to_owned();
    };
    let [x, y, z] = direction_words(frame.axes).map(quoted);
    let (zero, second) = match frame.zero {
        Zero::Surface => (
            "zero      = \"surface\"             # its zero moves with the day's water level (a note's water_cm)\n",
            "the second number counts from the surface",
        ),
        Zero::Bottom => ("", "from left, from bottom, from front"),
    };
    format!(
        "
# How the x, y, z of your files lie in the tank; the routes in undim.toml name it.
[[frame]]
id        = \"rod\"
origin_cm = {}       # where 0, 0, 0 lies: {second}
axes      = [{x}, {y}, {z}]   # where x, y and z point
unit      = {}                  # where a file states none: mm, cm, m or in
{zero}#place_cm = 0.7                    # how well a place is found again (k = 1)
",
        floats(frame.origin_cm),
        quoted(unit_code(frame.unit))
    )
}

/// Where each fixture hangs: as told, or spread over the length.
fn centres(answers: &Answers) -> Vec<[f64; 3]> {
    let count = answers.fixtures.len() as f64;
    let inside = answers.inside.clone().unwrap_or_default();
    (0_u32..)
        .zip(&answers.fixtures)
        .map(|(number, fixture)| {
            fixture.centre_cm.unwrap_or([
                inside.length_cm * (f64::from(number) + 0.5) / count,
                inside.height_cm + ABOVE_THE_GLASS_CM,
                inside.front_to_back_cm / 2.0,
            ])
        })
        .collect()
}

fn fixtures_text(answers: &Answers, assumed: &mut Assumed) -> String {
    if answers.fixtures.is_empty() {
        return "
# Fixtures from left to right; change is then told for each.
#[[fixture]]
#id        = \"west\"
#centre_cm = [30.0, 75.0, 30.0]
#size_cm   = [20.0, 20.0]          # left to right, front to back
#installed = 2026-01-31
"
        .to_owned();
    }
    let mut text = String::from("\n# Fixtures from left to right.\n");
    let is_assumed = |fixture: &FixtureAnswer| fixture.centre_cm.is_none();
    if answers.fixtures.iter().any(is_assumed) {
        assumed.push(format!(
            "The fixtures are taken to hang {ABOVE_THE_GLASS_CM} cm above the glass, spread over its length: measure them, and mend centre_cm in tanks/{}.toml.",
            answers.tank_id()
        ));
        text.push_str("# Their places were not told: spread over the length, 20 cm above the glass. Measure and mend them.\n");
    }
    for (fixture, centre) in answers.fixtures.iter().zip(centres(answers)) {
        let name = if fixture.named.name == fixture.named.id {
            String::new()
        } else {
            format!("# {}\n", in_comment(&fixture.named.name))
        };
        text.push_str(&format!(
            "{name}[[fixture]]
id        = {}
centre_cm = {}
#size_cm   = [20.0, 20.0]          # left to right, front to back
#installed = 2026-01-31            # the day it was hung

",
            quoted(&fixture.named.id),
            floats(centre)
        ));
    }
    text.truncate(text.trim_end().len());
    text + "\n"
}

fn scene_text(answers: &Answers) -> String {
    if answers.levels.is_empty() {
        let first = answers
            .fixtures
            .first()
            .map_or("west", |fixture| fixture.named.id.as_str());
        return format!(
            "
# What is set while you measure; surveys under different scenes are never compared with one another.
#[[scene]]
#id     = \"measuring\"
#levels = {{ {first} = 0.60 }}       # of each fixture, as fractions: 0.60 is 60 %
"
        );
    }
    let levels: Vec<String> = answers
        .fixtures
        .iter()
        .zip(&answers.levels)
        .map(|(fixture, level)| format!("{} = {}", fixture.named.id, level_text(*level)))
        .collect();
    format!(
        "
# What is set while you measure. As long as there is one scene every survey is taken under it; surveys under
# different scenes are never compared with one another.
[[scene]]
id     = \"measuring\"
levels = {{ {} }}   # as fractions: 0.60 is 60 %
",
        levels.join(", ")
    )
}

fn level_text(level: f64) -> String {
    let text = format!("{:.4}", level.clamp(0.0, 1.0));
    let short = text.trim_end_matches('0');
    let least = text.find('.').map_or(text.len(), |point| point + 3);
    text[..short.len().max(least)].to_owned()
}

fn stations_text(stations: &[Place]) -> String {
    if stations.is_empty() {
        return "
# Places that are read again and again; without them a place is named after its coordinates.
#[[station]]
#id    = \"reef-top\"
#at_cm = [35.0, 38.0, 25.0]
"
        .to_owned();
    }
    let mut text = String::from("\n# Places that are read again and again, as the first file names them.\n");
    for station in stations {
        let name = if station.named.name == station.named.id {
            String::new()
        } else {
            format!("name  = {}\n", quoted(&station.named.name))
        };
        text.push_str(&format!(
            "[[station]]\nid    = {}\n{name}at_cm = {}\n\n",
            quoted(&station.named.id),
            floats(station.at_cm)
        ));
    }
    text.truncate(text.trim_end().len());
    text + "\n"
}

fn device_file(answers: &Answers) -> String {
    let device = answers.device.as_ref();
    let name = device.map_or("Everyday device", |device| device.named.name.as_str());
    let role = if device.is_some_and(|device| device.is_reference) {
        "reference"
    } else {
        "everyday"
    };
    let unit = device.and_then(|device| device.unit.as_deref()).map_or_else(
        || "#unit           = \"umol.m-2.s-1\" # what it reads in, if a file does not say; also lx, W.m-2, mV, 1".to_owned(),
        |unit| format!("unit           = {} # what it reads in, if a file does not say", quoted(unit)),
    );
    let certificate = if role == "reference" {
        "calibrated     = 2026-01-31     # the dates of its certificate: write them here, and take the `#` off\n#valid_until    = 2028-01-31\n"
    } else {
        "[[correction]]                 # from readings side by side with a reference; then values are true, not only steady\n#valid_from = 2026-01-31\n#fit = { model = \"gain\", coefficients = [1.05], covariance = [[0.0004]] }\n"
    };
    format!(
        "# A device. Amounts in percent are standard uncertainties (k = 1); what stands in a comment is what is taken
# without it. Lines that begin with `#` and no blank are examples to take over.

name           = {}
role           = \"{role}\"     # everyday, or reference: calibrated, what others are held against
{unit}
#repeat_percent = 2.0            # of one reading; averages within a burst
#rezero_percent = 2.0            # of a whole survey: switched on again, bag refitted
#cal_percent    = 5.0            # of its calibration
#range          = [0.0, 2500.0]  # what it can read
#max_tilt_deg   = 8.0            # readings tilted further are left out
#face_offset_cm = [0.0, 1.5, 0.0] # from the noted place to the sensing face: right, up, back

#{certificate}",
        quoted(name)
    )
}

/// True where a frame says nothing but the tank's own axes.
pub(crate) fn is_own(frame: &Frame) -> bool {
    frame.origin_cm == [0.0; 3]
        && frame.axes == [Direction3::Right, Direction3::Up, Direction3::Back]
        && frame.unit == LengthUnit::Centimetre
        && frame.zero == Zero::Bottom
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::new::{device, fixtures, frame, inside, output, tank, water};
    use std::path::Path;
    use undim_config::load;

    fn full() -> Answers {
        let mut size = inside("120 x 60 x 55 cm").unwrap();
        size.water_cm = Some(water("50", Some(&size)).unwrap());
        Answers {
            tank: Some(tank("Récife \"nord\"").unwrap()),
            fixtures: fixtures("West, East", Some(&size)).unwrap(),
            levels: output("60 55.5", 2).unwrap(),
            device: Some(device("Phone in a bag, lx").unwrap()),
            frame: Some(
                frame(
                    Some("right surface back"),
                    Some("left down front, mm"),
                    Some(&size),
                )
                .unwrap(),
            ),
            stations: vec![Place {
                named: crate::new::named("Reef Top").unwrap(),
                at_cm: [35.0, 38.25, 25.0],
            }],
            inside: Some(size),
        }
    }

    fn checked(answers: &Answers) -> undim_config::Loaded {
        let folder = tempfile::tempdir().unwrap();
        for file in files(answers, "Europe/Lisbon").0 {
            let path = folder.path().join(&file.path);
            match file.text {
                None => std::fs::create_dir_all(path).unwrap(),
                Some(text) => {
                    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
                    std::fs::write(path, text).unwrap();
                }
            }
        }
        load(folder.path(), "UTC")
    }

    #[test]
    fn with_all_answers_and_with_none_it_passes_the_check() {
        for answers in [Answers::default(), full()] {
            let loaded = checked(&answers);
            assert!(loaded.mistakes.is_empty(), "{}", loaded.render(false, 100));
        }
    }

    #[test]
    fn what_was_answered_is_what_the_site_says() {
        let answers = full();
        let site = checked(&answers).site.unwrap();
        let (id, tank) = site.tanks.iter().next().unwrap();
        assert_eq!(id, answers.tank_id());
        assert_eq!(tank.name, "Récife \"nord\"");
        assert_eq!(tank.frames, [answers.frame.clone().unwrap()]);
        assert_eq!(tank.fixtures[1].centre.to_array(), [90.0, 75.0, 30.0]);
        assert_eq!(tank.stations[0].name.as_deref(), Some("Reef Top"));
        assert_eq!(tank.inside[0].water_cm, Some(50.0));
        assert_eq!(tank.scenes[0].levels[1].1, undim_model::LevelSet::Whole(0.555));
        assert_eq!(site.devices["phone-in-a-bag"].unit_code.as_deref(), Some("lx"));
    }

    /// Every example line may be taken over as it stands.
    #[test]
    fn the_examples_in_comments_are_right_too() {
        for answers in [Answers::default(), full()] {
            let folder = tempfile::tempdir().unwrap();
            for file in files(&answers, "Europe/Lisbon").0 {
                let path = folder.path().join(&file.path);
                let Some(text) = file.text else { continue };
                let mut blocks = String::new();
                for line in text.lines() {
                    let is_example = line.starts_with('#') && !line.starts_with("# ") && line != "#";
                    blocks.push_str(if is_example { &line[1..] } else { line });
                    blocks.push('\n');
                }
                std::fs::create_dir_all(path.parent().unwrap_or(Path::new("."))).unwrap();
                std::fs::write(path, blocks).unwrap();
            }
            let loaded = load(folder.path(), "UTC");
            assert!(!loaded.has_mistakes(), "{}", loaded.render(false, 100));
        }
    }
}
