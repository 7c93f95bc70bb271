//! A tank's file (formats, section 3).

use crate::item::Item;
use crate::mistake::{nearest, shown};
use crate::past;
use crate::sheet::{Placed, Sheet, Span};
use crate::tank_shape::{self, read_inside};
use crate::walk::{Table, read};
use crate::words;
use jiff::civil::Time;
use std::collections::BTreeMap;
use undim_model::{
    Baseline, Coral, DateSpan, Direction3, DriftSettings, Fixture, Frame, LengthUnit, LevelSet, LightRange,
    Position, Scene, Station, Tank, Thresholds, Zero,
};

/// A block with the places that later checks point at.
pub(crate) struct Block<T> {
    pub(crate) value: T,
    /// Of the id, or of the block where it has none.
    pub(crate) id_span: Span,
    /// Of the position; empty where it has none.
    pub(crate) at_span: Span,
}

/// Reads a tank's file.
pub(crate) fn read_tank(sheet: &Sheet, id: &str) -> Tank {
    read(sheet, |top| {
        let mut tank = Tank {
            declared: true,
            ..Tank::undeclared(id)
        };
        if let Some(name) = top.take("name").and_then(|item| item.text()) {
            tank.name = name.value;
        }
        let inside: Vec<_> = top.blocks("inside").iter_mut().filter_map(read_inside).collect();
        let frames: Vec<_> = top.blocks("frame").iter_mut().filter_map(frame).collect();
        let fixtures: Vec<_> = top.blocks("fixture").iter_mut().filter_map(fixture).collect();
        let names: Vec<String> = fixtures.iter().map(|block| block.value.id.clone()).collect();
        let scenes: Vec<_> = top
            .blocks("scene")
            .iter_mut()
            .filter_map(|block| scene(block, &names))
            .collect();
        let stations: Vec<_> = top.blocks("station").iter_mut().filter_map(station).collect();
        let corals: Vec<_> = top.blocks("coral").iter_mut().filter_map(coral).collect();
        if let Some(mut table) = top.table("drift") {
            tank.drift = drift(&mut table);
        }
        tank_shape::check_places(sheet, &inside, &fixtures, &stations, &corals);
        check_names(sheet, &stations);
        past::check_insides(sheet, &inside);
        past::check(sheet, "frame", &frames);
        past::check(sheet, "fixture", &fixtures);
        past::check(sheet, "scene", &scenes);
        past::check(sheet, "station", &stations);
        past::check(sheet, "coral", &corals);
        tank.inside = values(inside);
        tank.frames = values(frames);
        tank.fixtures = values(fixtures);
        tank.scenes = values(scenes);
        tank.stations = values(stations);
        tank.corals = values(corals);
        tank
    })
}

fn values<T>(blocks: Vec<Block<T>>) -> Vec<T> {
    blocks.into_iter().map(|block| block.value).collect()
}

/// `from` and `until`.
pub(crate) fn span_of(block: &mut Table) -> DateSpan {
    let from = block.take("from");
    let until = block.take("until");
    dates(from.as_ref(), until.as_ref())
}

/// First and last day; the last may not come before the first.
pub(crate) fn dates(from: Option<&Item>, until: Option<&Item>) -> DateSpan {
    let span = DateSpan {
        from: from.and_then(Item::date),
        until: until.and_then(Item::date),
    };
    if let (Some(first), Some(last), Some(from), Some(until)) = (span.from, span.until, from, until)
        && last < first
    {
        until.mistake(
            format!("`{}` {last} comes before `{}` {first}", until.name, from.name),
            "the last day can't come before the first; both days count",
        );
    }
    span
}

fn frame(block: &mut Table) -> Option<Block<Frame>> {
    let id = block.need("id", "id = \"rod\"").and_then(|item| item.id());
    let origin = block.take("origin_cm");
    let origin = origin.and_then(|item| item.numbers("[from left, from bottom, from front]"));
    let axes = block
        .need("axes", "axes = [\"right\", \"up\", \"back\"]")
        .and_then(|item| axes(&item));
    let units = [
        ("mm", LengthUnit::Millimetre),
        ("cm", LengthUnit::Centimetre),
        ("m", LengthUnit::Metre),
        ("in", LengthUnit::Inch),
    ];
    let unit = block.take("unit").and_then(|item| item.word(&units));
    let zeros = [("bottom", Zero::Bottom), ("surface", Zero::Surface)];
    let zero = block.take("zero").and_then(|item| item.word(&zeros));
    let place_cm = block.take("place_cm").and_then(|item| item.amount());
    let rod_cm = block.take("rod_cm").and_then(|item| item.amount());
    let span = span_of(block);
    block.finish();
    let id = id?;
    Some(Block {
        value: Frame {
            id: id.value,
            origin_cm: origin.unwrap_or_default(),
            axes: axes.unwrap_or([Direction3::Right, Direction3::Up, Direction3::Back]),
            unit: unit.unwrap_or_default(),
            zero: zero.unwrap_or_default(),
            place_cm: place_cm.unwrap_or_default(),
            rod_cm: rod_cm.unwrap_or_default(),
            span,
        },
        id_span: id.span,
        at_span: 0..0,
    })
}

fn axes(item: &Item) -> Option<[Direction3; 3]> {
    let directions = [
        ("right", Direction3::Right),
        ("left", Direction3::Left),
        ("up", Direction3::Up),
        ("down", Direction3::Down),
        ("back", Direction3::Back),
        ("front", Direction3::Front),
    ];
    let list = item.list()?;
    let axes: Vec<Direction3> = list.iter().filter_map(|axis| axis.word(&directions)).collect();
    if axes.len() != list.len() {
        return None;
    }
    let Ok(axes) = <[Direction3; 3]>::try_from(axes) else {
        item.wrong(
            "three directions",
            "say where x, y and z point, as [\"right\", \"up\", \"back\"]",
        );
        return None;
    };
    let mut lines = axes.map(|axis| axis.axis_and_sign().0);
    lines.sort_unstable();
    if lines != [0, 1, 2] {
        item.mistake(
            "two of the three axes lie along the same line",
            "one must be right or left, one up or down, one back or front",
        );
        return None;
    }
    Some(axes)
}

const PLACE: &str = "[from left, from bottom, from front], in cm";

fn fixture(block: &mut Table) -> Option<Block<Fixture>> {
    let id = block.need("id", "id = \"west\"").and_then(|item| item.id());
    let centre = block.need("centre_cm", "centre_cm = [30.0, 75.0, 30.0]");
    let at_span = centre.as_ref().map_or(0..0, |item| item.span.clone());
    let centre: Option<[f64; 3]> = centre.and_then(|item| item.numbers(PLACE));
    let size = block.take("size_cm").and_then(|item| {
        let size: [f64; 2] = item.numbers("[left to right, front to back], in cm")?;
        if size.iter().any(|side| *side < 0.0) {
            item.mistake("a fixture's size can't be negative", "give its two sides in cm");
        }
        Some(size)
    });
    let installed = block.take("installed").and_then(|item| item.date());
    let lenses = block.take("lenses_cm").and_then(|item| item.list());
    let lenses = lenses.unwrap_or_default();
    let lenses = lenses.iter().filter_map(|lens| lens.numbers::<3>(PLACE));
    let lenses: Vec<Position> = lenses.map(Position::from).collect();
    let span = span_of(block);
    block.finish();
    let id = id?;
    Some(Block {
        value: Fixture {
            id: id.value,
            centre: centre.unwrap_or_default().into(),
            size_cm: size.unwrap_or_default(),
            installed,
            lenses,
            span,
        },
        id_span: id.span,
        at_span,
    })
}

fn scene(block: &mut Table, fixtures: &[String]) -> Option<Block<Scene>> {
    let id = block.need("id", "id = \"noon\"").and_then(|item| {
        let id = item.any_text()?;
        if let Err(hint) = words::check_scene_id(&id.value) {
            item.wrong("a scene's id", &hint);
        }
        Some(id)
    });
    let mut levels = Vec::new();
    if let Some(mut table) = block.table("levels") {
        for item in table.take_rest() {
            known_fixture(block.sheet, &item.key_span, item.name, fixtures);
            levels.extend(level(&item).map(|level| (item.name.to_owned(), level)));
        }
    }
    let only = block.take("only").and_then(|item| item.text());
    if let Some(only) = &only {
        known_fixture(block.sheet, &only.span, &only.value, fixtures);
    }
    let day = block.take("day").map(|item| programme(&item)).unwrap_or_default();
    let span = span_of(block);
    block.finish();
    let id = id?;
    Some(Block {
        value: Scene {
            id: id.value,
            levels,
            only: only.map(|only| only.value),
            day,
            span,
        },
        id_span: id.span,
        at_span: 0..0,
    })
}

fn known_fixture(sheet: &Sheet, span: &Span, name: &str, fixtures: &[String]) {
    if fixtures.iter().any(|known| known == name) {
        return;
    }
    let hint = match nearest(name, fixtures.iter().map(String::as_str)) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => "declare it as [[fixture]] with this id".to_owned(),
    };
    sheet.absent(
        span,
        format!("no fixture `{}` is declared in this tank", shown(name)),
        hint,
    );
}

fn level(item: &Item) -> Option<LevelSet> {
    if !item.value.is_table() {
        return item.fraction().map(LevelSet::Whole);
    }
    let channels = item.table()?.take_rest();
    let channels = channels
        .iter()
        .filter_map(|channel| Some((channel.name.to_owned(), channel.fraction()?)));
    Some(LevelSet::Channels(channels.collect()))
}

fn programme(item: &Item) -> Vec<(Time, f64)> {
    let mut day: Vec<(Time, f64)> = Vec::new();
    for step in item.list().unwrap_or_default() {
        let Some(pair) = step.list() else { continue };
        let [when, factor] = pair.as_slice() else {
            step.wrong("a time and a factor", "write it as [\"09:00\", 0.5]");
            continue;
        };
        let time = when.value.as_str().and_then(words::parse_time_of_day);
        let Some(time) = time else {
            when.wrong("a time of day", "write hour and minute in quotes, as \"09:00\"");
            continue;
        };
        if day.last().is_some_and(|(before, _)| *before >= time) {
            when.mistake(
                "the times of a day must rise",
                "put the steps in the order of the day, each time once",
            );
        }
        day.extend(factor.fraction().map(|factor| (time, factor)));
    }
    day
}

fn station(block: &mut Table) -> Option<Block<Station>> {
    let id = block.need("id", "id = \"reef-top\"").and_then(|item| item.id());
    let name = block.take("name").and_then(|item| item.text());
    let (at, at_span) = place(block);
    let radius_cm = block.take("radius_cm").and_then(|item| item.positive());
    let span = span_of(block);
    block.finish();
    let id = id?;
    Some(Block {
        value: Station {
            id: id.value,
            name: name.map(|name| name.value),
            at,
            radius_cm: radius_cm.unwrap_or(3.0),
            span,
        },
        id_span: id.span,
        at_span,
    })
}

/// A file's stations match an id, then a name: a name must not be another station's id or name.
fn check_names(sheet: &Sheet, stations: &[Block<Station>]) {
    let mut owners: BTreeMap<&str, &str> = BTreeMap::new();
    for station in stations {
        owners.insert(&station.value.id, &station.value.id);
    }
    for station in stations {
        let Some(name) = station.value.name.as_deref() else {
            continue;
        };
        let owner = *owners.entry(name).or_insert(&station.value.id);
        if owner != station.value.id {
            sheet.warn(
                &station.id_span,
                format!(
                    "the station `{}` has the same name, \"{}\"",
                    shown(owner),
                    shown(name)
                ),
                "a file that names its station by this name can't be told apart: give each its own",
            );
        }
    }
}

/// `at_cm`. The span is empty where there is none to check.
fn place(block: &mut Table) -> (Position, Span) {
    let at = block.need("at_cm", "at_cm = [35.0, 38.0, 25.0]");
    match at
        .as_ref()
        .and_then(|item| Some((item.numbers(PLACE)?, item.span.clone())))
    {
        Some((at, span)) => (Position::from(at), span),
        None => (Position::default(), 0..0),
    }
}

fn coral(block: &mut Table) -> Option<Block<Coral>> {
    let id = block.need("id", "id = \"plating-1\"").and_then(|item| item.id());
    let (at, at_span) = place(block);
    let ppfd = block.take("ppfd").and_then(|item| wanted(&item));
    let dli_item = block.take("dli");
    let dli = dli_item.as_ref().and_then(wanted);
    if let (Some(_), Some(item)) = (&ppfd, &dli_item) {
        item.mistake("a coral has both `ppfd` and `dli`", "keep one of the two ranges");
    }
    let span = span_of(block);
    block.finish();
    let id = id?;
    let ppfd = ppfd.map(|[from, to]| LightRange::Ppfd(from, to));
    let dli = dli.map(|[from, to]| LightRange::Dli(from, to));
    Some(Block {
        value: Coral {
            id: id.value,
            at,
            wanted: ppfd.or(dli),
            span,
        },
        id_span: id.span,
        at_span,
    })
}

fn wanted(item: &Item) -> Option<[f64; 2]> {
    let [from, to] = item.range()?;
    if from < 0.0 {
        item.mistake("there is no light below 0", "begin the range at 0 or above");
    }
    Some([from, to])
}

fn drift(table: &mut Table) -> DriftSettings {
    let mut drift = DriftSettings::default();
    thresholds(table, "loss_percent", &mut drift.loss_percent, 100.0);
    thresholds(table, "gain_percent", &mut drift.gain_percent, f64::INFINITY);
    if let Some(percent) = table.take("survey_repeat_percent").and_then(|item| item.amount()) {
        drift.survey_repeat_percent = percent;
    }
    if let Some(mut priors) = table.table("priors") {
        for (key, prior) in [
            ("even", &mut drift.priors.even),
            ("water", &mut drift.priors.water),
            ("fixture", &mut drift.priors.fixture),
            ("zero", &mut drift.priors.zero),
            ("unexplained", &mut drift.priors.unexplained),
        ] {
            if let Some(events) = priors.take(key).and_then(|item| item.amount()) {
                *prior = events;
            }
        }
        priors.finish();
    }
    if let Some(written) = table.take("baseline").and_then(|item| Some((item.text()?, item))) {
        drift.baseline = baseline(&written.0, &written.1);
    }
    let every = table.take("every").and_then(|item| item.some_duration());
    drift.every_seconds = every.map(|every| every.as_secs().max(1));
    table.finish();
    drift
}

fn thresholds(table: &mut Table, key: &'static str, into: &mut Thresholds, most: f64) {
    let Some(item) = table.take(key) else { return };
    let Some(mut pair) = item.table() else { return };
    for (key, threshold) in [("notice", &mut into.notice), ("urgent", &mut into.urgent)] {
        if let Some(item) = pair.take(key)
            && let Some(percent) = item.positive()
        {
            if percent > most {
                item.wrong("at most 100", "no more than all of the light can be lost");
            }
            *threshold = percent;
        }
    }
    pair.finish();
    if into.notice >= into.urgent {
        item.mistake(
            format!(
                "`notice` ({}) must lie below `urgent` ({})",
                into.notice, into.urgent
            ),
            "an alert begins as a notice and becomes urgent as more is lost or gained",
        );
    }
}

fn baseline(written: &Placed<String>, item: &Item) -> Baseline {
    match written.value.as_str() {
        "since-change" => Baseline::SinceChange,
        "first" => Baseline::First,
        survey => {
            let (day, rest) = survey.split_at_checked(10).unwrap_or(("", survey));
            let begins_with_day = day.parse::<jiff::civil::Date>().is_ok();
            let goes_on = rest.is_empty()
                || rest
                    .strip_prefix('-')
                    .is_some_and(|rest| words::check_id(rest).is_ok());
            if !begins_with_day || !goes_on {
                let near = nearest(survey, ["since-change", "first"]);
                let near = near.map(|near| format!("did you mean \"{near}\"?"));
                item.wrong(
                    "\"since-change\", \"first\" or a survey's id",
                    &near.unwrap_or_else(|| {
                        "a survey's id begins with its date, as \"2026-03-14-noon\"".to_owned()
                    }),
                );
            }
            Baseline::Survey(survey.to_owned())
        }
    }
}
