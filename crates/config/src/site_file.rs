//! `undim.toml` (formats, section 2).

use crate::item::Item;
use crate::mention::{Mention, What};
use crate::mistake::shown;
use crate::sheet::{Placed, Sheet, Span};
use crate::site::{After, Csv, ImporterSettings, IntakeSettings, NotifySink, Sandbox, Timezone};
use crate::tank_file::dates;
use crate::walk::{Table, read};
use crate::words;
use std::path::{Component, Path, PathBuf};
use undim_intake::route::{Dwells, Glob, Route};
use undim_model::DateSpan;

/// What `undim.toml` says, folders not yet joined to the site's.
#[derive(Debug, PartialEq)]
pub(crate) struct SiteFile {
    pub(crate) name: Option<String>,
    pub(crate) timezone: Timezone,
    pub(crate) inbox: PathBuf,
    pub(crate) outbox: PathBuf,
    pub(crate) state: PathBuf,
    pub(crate) plugins: Vec<PathBuf>,
    pub(crate) intake: IntakeSettings,
    pub(crate) importers: ImporterSettings,
    pub(crate) csv: Csv,
    pub(crate) routes: Vec<Route>,
    pub(crate) notify: Vec<NotifySink>,
    pub(crate) away: Vec<DateSpan>,
}

/// Reads the site file. `machine_timezone` is the zone for a site that states none.
pub(crate) fn read_site_file(sheet: &Sheet, machine_timezone: &str) -> (SiteFile, Vec<Mention>) {
    read(sheet, |top| {
        let mut mentions = Vec::new();
        let (name, timezone) = site(top, machine_timezone);
        let folders = folders(top);
        let intake = intake(top);
        let importers = importers(top);
        let csv = csv(top);
        let routes = top
            .blocks("route")
            .iter_mut()
            .filter_map(|block| route(block, &mut mentions))
            .collect();
        let notify = top
            .blocks("notify")
            .iter_mut()
            .filter_map(|block| notify(block, &folders))
            .collect();
        let away = top.blocks("away").iter_mut().filter_map(away).collect();
        let file = SiteFile {
            name,
            timezone,
            inbox: folders.inbox,
            outbox: folders.outbox,
            state: folders.state,
            plugins: folders.plugins,
            intake,
            importers,
            csv,
            routes,
            notify,
            away,
        };
        (file, mentions)
    })
}

fn site(top: &mut Table, machine_timezone: &str) -> (Option<String>, Timezone) {
    let mut name = None;
    let mut stated = None;
    if let Some(mut table) = top.table("site") {
        name = table.take("name").and_then(|item| item.text());
        if let Some(item) = table.take("timezone")
            && let Some(written) = item.text()
        {
            match words::parse_zone(&written.value) {
                Ok(zone) => stated = Some(zone),
                Err(hint) => item.wrong("a time zone", &hint),
            }
        }
        table.finish();
    }
    let timezone = match stated {
        Some(name) => Timezone { name, stated: true },
        None => Timezone {
            name: words::parse_zone(machine_timezone).unwrap_or_else(|_| {
                top.sheet.warn(
                    &(0..0),
                    format!(
                        "this machine's time zone \"{}\" is no known one; UTC is taken",
                        shown(machine_timezone)
                    ),
                    "write `timezone = \"Europe/Lisbon\"` below `[site]`, with your own zone",
                );
                "UTC".to_owned()
            }),
            stated: false,
        },
    };
    (name.map(|name| name.value), timezone)
}

struct Folders {
    inbox: PathBuf,
    outbox: PathBuf,
    state: PathBuf,
    plugins: Vec<PathBuf>,
}

fn folders(top: &mut Table) -> Folders {
    let mut placed: Vec<(&'static str, Placed<PathBuf>)> = ["inbox", "outbox", "state"]
        .map(|key| {
            let default = Placed {
                value: PathBuf::from(key),
                span: 0..0,
            };
            (key, default)
        })
        .into();
    let mut plugins = vec![PathBuf::from("plugins")];
    if let Some(mut table) = top.table("folders") {
        for (key, folder) in &mut placed {
            if let Some(written) = table.take(key).and_then(|item| item.text()) {
                *folder = Placed {
                    value: written.value.into(),
                    span: written.span,
                };
            }
        }
        if let Some(written) = table.take("plugins").and_then(|item| item.texts()) {
            plugins = written.into_iter().map(|folder| folder.value.into()).collect();
        }
        table.finish();
    }
    for (at, (key, folder)) in placed.iter().enumerate() {
        for (other_key, other) in placed.iter().skip(at + 1) {
            apart(top.sheet, (key, folder), (other_key, other));
        }
    }
    let mut folders = placed.into_iter().map(|(_, folder)| folder.value);
    let mut next = || folders.next().unwrap_or_default();
    Folders {
        inbox: next(),
        outbox: next(),
        state: next(),
        plugins,
    }
}

/// Two folders must not hold one another: results would be taken in as readings, or state set aside.
fn apart(
    sheet: &Sheet,
    (key, folder): (&str, &Placed<PathBuf>),
    (other_key, other): (&str, &Placed<PathBuf>),
) {
    let (a, b) = (plain(&folder.value), plain(&other.value));
    let trouble = if a == b {
        format!("`{key}` and `{other_key}` are the same folder")
    } else if key == "inbox" && b.starts_with(&a) {
        format!("`{other_key}` lies in the inbox")
    } else if a.starts_with(&b) || (key != "inbox" && b.starts_with(&a)) {
        format!("`{key}` and `{other_key}` lie in one another")
    } else {
        return;
    };
    let span = if other.span.is_empty() {
        &folder.span
    } else {
        &other.span
    };
    sheet.mistake(
        span,
        trouble,
        "give inbox, outbox and state each a folder of its own",
    );
}

/// A path without `.` and with `..` resolved as far as the text alone can tell.
fn plain(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for component in path.components() {
        match component {
            Component::CurDir => {}
            Component::ParentDir if out.file_name().is_some() => {
                out.pop();
            }
            other => out.push(other),
        }
    }
    out
}

fn intake(top: &mut Table) -> IntakeSettings {
    let mut settings = IntakeSettings::default();
    let Some(mut table) = top.table("intake") else {
        return settings;
    };
    if let Some(settle) = table.take("settle").and_then(|item| item.duration()) {
        settings.settle = settle;
    }
    if let Some(rescan) = table.take("rescan").and_then(|item| item.some_duration()) {
        settings.rescan = rescan;
    }
    let words = [
        ("move", After::Move),
        ("keep", After::Keep),
        ("delete", After::Delete),
    ];
    if let Some(after) = table.take("after").and_then(|item| item.word(&words)) {
        settings.after = after;
    }
    if let Some(bytes) = table.take("max_file").and_then(|item| item.bytes()) {
        settings.max_file = bytes;
    }
    table.finish();
    settings
}

/// Below this no worker can start.
const LEAST_MEMORY: u64 = 16 << 20;

fn importers(top: &mut Table) -> ImporterSettings {
    let mut settings = ImporterSettings::default();
    let Some(mut table) = top.table("importers") else {
        return settings;
    };
    let words = [("best", Sandbox::Best), ("required", Sandbox::Required)];
    if let Some(sandbox) = table.take("sandbox").and_then(|item| item.word(&words)) {
        settings.sandbox = sandbox;
    }
    if let Some(timeout) = table.take("timeout").and_then(|item| item.some_duration()) {
        settings.timeout = timeout;
    }
    if let Some(item) = table.take("memory")
        && let Some(bytes) = item.bytes()
    {
        if bytes < LEAST_MEMORY {
            item.wrong(
                "at least 16 MiB",
                "an importer can't start with less; leave it out for 512MiB",
            );
        }
        settings.memory_bytes = bytes;
    }
    table.finish();
    settings
}

fn csv(top: &mut Table) -> Csv {
    let Some(mut table) = top.table("outbox") else {
        return Csv::default();
    };
    let words = [
        ("standard", Csv::Standard),
        ("spreadsheet-eu", Csv::SpreadsheetEu),
    ];
    let csv = table.take("csv").and_then(|item| item.word(&words));
    table.finish();
    csv.unwrap_or_default()
}

fn route(block: &mut Table, mentions: &mut Vec<Mention>) -> Option<Route> {
    let pattern = block
        .need("match", "match = \"harbour/phone/*.csv\"")
        .and_then(|item| {
            let written = item.any_text()?;
            Glob::parse(&written.value)
                .map_err(|hint| item.wrong("a pattern for paths in the inbox", &hint))
                .ok()
        });
    let mut mention = |what, name: Option<Placed<String>>| {
        let name = name?;
        let value = name.value.clone();
        mentions.push(Mention { what, name });
        Some(value)
    };
    let tank = block.take("tank").and_then(|item| {
        let id = item.id()?;
        if let Err(hint) = words::check_tank_id(&id.value) {
            item.wrong("a tank's id", &hint);
        }
        Some(id)
    });
    let tank = mention(What::Tank, tank);
    let device = mention(What::Device, block.take("device").and_then(|item| item.id()));
    let importer = block
        .take("importer")
        .and_then(|item| item.id())
        .map(|id| id.value);
    let layout = mention(What::Layout, block.take("layout").and_then(|item| item.id()));
    let frame = block.take("frame").and_then(|item| item.id());
    let frame = mention(What::Frame { tank: tank.clone() }, frame);
    let scene = block.take("scene").and_then(|item| {
        let id = item.any_text()?;
        match words::check_scene_id(&id.value) {
            Ok(()) => Some(id),
            Err(hint) => {
                item.wrong("a scene's id", &hint);
                None
            }
        }
    });
    let scene = mention(What::Scene { tank: tank.clone() }, scene);
    let station = block.take("station").and_then(|item| item.id());
    let station = mention(What::Station { tank: tank.clone() }, station);
    let words = [("planned", Dwells::Planned), ("noted", Dwells::Noted)];
    let dwells = block.take("dwells").and_then(|item| item.word(&words));
    if station.is_some() && dwells.is_some() {
        block.sheet.mistake(
            &block.span,
            "a route has `station` (a mounted sensor) and `dwells` (a moving rod)",
            "remove one of the two",
        );
    }
    if dwells.is_some() {
        block.sheet.note(
            &block.span,
            "this version takes such a log in as an ordinary survey",
            "dwells are not cut yet; the raw file is kept for when they are",
        );
    }
    let silent_after = block.take("silent_after").and_then(|item| {
        if station.is_none() {
            item.mistake(
                "`silent_after` is for a mounted sensor, and this route has no `station`",
                "name the station that the sensor is mounted at, or remove the key",
            );
        }
        item.some_duration()
    });
    block.finish();
    let mut route = Route::new(pattern?);
    route.tank = tank;
    route.device = device;
    route.importer = importer;
    route.layout = layout;
    route.frame = frame;
    route.scene = scene;
    route.station = station;
    route.dwells = dwells;
    route.silent_after = silent_after.unwrap_or(route.silent_after);
    Some(route)
}

/// Days on which nobody can be reminded of anything; both ends must stand there.
fn away(block: &mut Table) -> Option<DateSpan> {
    let from = block.need("from", "from = 2026-07-01");
    let until = block.need("until", "until = 2026-07-14");
    let span = dates(from.as_ref(), until.as_ref());
    block.finish();
    (span.from.is_some() && span.until.is_some()).then_some(span)
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    File,
    Command,
    Later,
}

fn notify(block: &mut Table, folders: &Folders) -> Option<NotifySink> {
    let kind = block.need("kind", "kind = \"file\"")?;
    let kinds = [
        ("file", Kind::File),
        ("command", Kind::Command),
        ("webhook", Kind::Later),
        ("mail", Kind::Later),
        ("mqtt", Kind::Later),
    ];
    let sink = match kind.word(&kinds)? {
        Kind::File => {
            let path = block.take("path").and_then(|item| item.text());
            let path = path.unwrap_or_else(|| Placed {
                value: folders.outbox.join("notices.txt").to_string_lossy().into_owned(),
                span: 0..0,
            });
            not_in_inbox(block.sheet, &path.span, Path::new(&path.value), &folders.inbox);
            Some(NotifySink::File {
                path: path.value.into(),
            })
        }
        Kind::Command => command(block),
        Kind::Later => {
            kind.mistake(
                format!(
                    "notices by {} are not available in this version",
                    shown(kind.value.as_str().unwrap_or_default())
                ),
                "use kind = \"file\", or kind = \"command\" with a program of your own that sends them",
            );
            // Its own keys can't be known yet.
            block.take_rest();
            None
        }
    };
    block.finish();
    sink
}

fn not_in_inbox(sheet: &Sheet, span: &Span, path: &Path, inbox: &Path) {
    if plain(path).starts_with(plain(inbox)) {
        sheet.mistake(
            span,
            "notices in the inbox would be taken in as readings",
            "choose a file elsewhere, as path = \"outbox/notices.txt\"",
        );
    }
}

fn command(block: &mut Table) -> Option<NotifySink> {
    let item = block.need("command", "command = [\"/usr/local/bin/tell-me\", \"--quiet\"]")?;
    let example =
        "write program and arguments as a list, as [\"tell-me\", \"--quiet\"]; no shell stands between";
    let list = item.list().map(|list| {
        let parts = list.iter().filter_map(Item::any_text);
        (list.len(), parts.map(|part| part.value).collect::<Vec<_>>())
    });
    let (written, parts) = list?;
    let program_is_named = parts.first().is_some_and(|program| !program.trim().is_empty());
    if !program_is_named || parts.iter().any(|part| part.contains('\0')) {
        item.mistake("`command` names no program", example);
        return None;
    }
    (written == parts.len()).then_some(NotifySink::Command { command: parts })
}
