//! `undim look FILE`: the values, what was assumed, the one question worth answering; nothing is stored.

use super::{colored, loaded, say};
use crate::cli::{Common, Look};
use crate::daemon::cancel_on_signals;
use crate::engine::{CachedRows, Cancel, machine_timezone};
use crate::exit::Exit;
use crate::look::{self, Failure, LookFile, Out, OutError, Reading, RowsOutError, Surveys, TemporaryFolder};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use undim_config::{Layout, LoadedLayout, Site, find_site, load, load_layout};

/// How a shell sees a program that SIGINT ended.
const INTERRUPTED: i32 = 130;

pub(super) fn run(common: &Common, flags: &Look) -> Exit {
    if flags.rows && common.json {
        say::error("undim: --rows writes CSV and --json one object; leave one of the two out");
        return Exit::Usage;
    }
    let cancel = Cancel::default();
    if let Err(error) = cancel_on_signals(&cancel) {
        say::error(&format!("undim: signals can't be listened to: {error}"));
        return Exit::Internal;
    }
    let exit = looked(common, flags, &cancel);
    if cancel.asked() {
        say::error("undim: stopped; nothing was kept");
        // What was begun is removed by now.
        std::process::exit(INTERRUPTED);
    }
    exit.unwrap_or_else(|exit| exit)
}

fn looked(common: &Common, flags: &Look, cancel: &Cancel) -> Result<Exit, Exit> {
    let refused = |exit: Exit| {
        move |why: String| {
            say::error(&format!("undim: {why}"));
            exit
        }
    };
    let file = LookFile::open(&flags.file).map_err(refused(Exit::Usage))?;
    let layout = flags
        .layout
        .as_deref()
        .map(|path| layout(common, path))
        .transpose()?;
    if let Some(out) = &flags.out {
        Out::check(out).map_err(|error| out_failed(&error))?;
    }
    let site = site_at_hand(common)?;
    let keeps_rows = flags.rows || flags.out.is_some() || !common.json;
    let folder = keeps_rows
        .then(TemporaryFolder::new)
        .transpose()
        .map_err(refused(Exit::Folders))?;
    let rows = folder
        .as_ref()
        .map(|folder| CachedRows::at(folder.path(), "rows", "look"));
    let read = look::read(&site, layout.as_ref(), &file, rows.as_ref(), cancel);
    let reading = read.map_err(|failure| not_read(common, flags, &failure))?;
    if let Some(lacks) = &reading.lacks
        && !common.json
    {
        say::error(&format!(
            "undim: the importer ran without part of its sandbox: {lacks}"
        ));
    }
    if common.json && flags.out.is_none() {
        say::json(&look::of_reading(&reading));
        return Ok(Exit::Done);
    }
    let Some(rows) = rows else {
        return Err(Exit::Internal);
    };
    if flags.rows {
        write_rows(&rows, cancel)?;
        if flags.out.is_none() {
            return Ok(Exit::Done);
        }
    }
    answer(common, flags, &site, &file, &reading, rows, cancel)
}

/// The surveys of the file: shown, written, or both.
fn answer(
    common: &Common,
    flags: &Look,
    site: &Site,
    file: &LookFile,
    reading: &Reading,
    rows: CachedRows,
    cancel: &Cancel,
) -> Result<Exit, Exit> {
    let hash = match flags.out {
        Some(_) => file.blake3().map_err(|error| {
            say::error(&format!("undim: {} can't be read: {error}", file.name));
            Exit::Usage
        })?,
        None => String::new(),
    };
    let surveys = Surveys::take_in(site, file, &hash, reading.imported.clone(), rows, cancel);
    let surveys = match surveys {
        Ok(None) => return Err(Exit::Internal),
        Ok(Some(surveys)) => Ok(surveys),
        Err(why) => Err(why),
    };
    if common.json {
        say::json(&look::of_reading(reading));
    } else if !flags.rows {
        let shown = surveys.as_ref().map_err(String::as_str);
        let text = look::show(&file.name, reading, shown, &site.timezone, &say::screen());
        say::line(text.trim_end());
    }
    let page = match (&flags.out, &surveys) {
        (Some(out), Ok(surveys)) => {
            Some(Out::write(out, surveys, cancel).map_err(|error| out_failed(&error))?)
        }
        (Some(_), Err(why)) => {
            say::error(&format!("undim: nothing was written: {why}"));
            None
        }
        (None, _) => None,
    };
    if !common.json && !flags.rows {
        say::line(&match &page {
            Some(page) => format!("\nOpen {}", page.display()),
            None => "\nNothing was stored; --out DIR writes page and package.".to_owned(),
        });
    }
    Ok(if surveys.is_ok() {
        Exit::Done
    } else {
        Exit::Remarks
    })
}

fn write_rows(rows: &CachedRows, cancel: &Cancel) -> Result<(), Exit> {
    let to = BufWriter::with_capacity(1 << 16, io::stdout().lock());
    match look::write_rows(rows, to, cancel) {
        // Whoever wanted only the first rows has them.
        Ok(()) | Err(RowsOutError::NobodyReads) => Ok(()),
        Err(error) => {
            say::error(&format!("undim: {error}"));
            Err(Exit::Folders)
        }
    }
}

/// Tells why a file was not read, and what to type next.
fn not_read(common: &Common, flags: &Look, failure: &Failure) -> Exit {
    let name = flags.file.display();
    let exit = match failure {
        Failure::Asked { .. } | Failure::Unusable { .. } => Exit::Remarks,
        Failure::Failed(_) => Exit::Folders,
        Failure::Stopped => return Exit::Internal,
    };
    if common.json && exit == Exit::Remarks {
        say::json(&look::of_failure(failure));
        return exit;
    }
    let screen = say::screen();
    // Where rows were asked for, nothing else goes where they would have gone.
    let line = if flags.rows { say::error } else { say::line };
    let told = |text: &str| line(&screen.wrapped(text, "", "  "));
    match failure {
        Failure::Asked { text, choices, .. } => {
            told(&format!("{name} can be read in more than one way: {text}"));
            for choice in choices {
                line(&screen.wrapped(choice, "  - ", "    "));
            }
            let layout = flags.layout.as_deref();
            let into = layout.map_or_else(
                || "a text file, say layout.toml".to_owned(),
                |layout| layout.display().to_string(),
            );
            told(&format!("Write the line that is right into {into}, and type:"));
            line(&format!("  {}", look::layout_command(&flags.file, layout)));
        }
        Failure::Unusable {
            line, column, text, ..
        } => {
            told(&format!(
                "{name} can't be used: {}{text}",
                look::place(*line, *column)
            ));
            told(
                "Mend it and look again; where the file is right and only laid out in its own way, a layout (config/README.md, section 9) tells how to read it: undim look FILE --layout PATH",
            );
        }
        Failure::Failed(text) => say::error(&format!("undim: {name} could not be read: {text}")),
        Failure::Stopped => {}
    }
    exit
}

fn out_failed(error: &OutError) -> Exit {
    say::error(&format!("undim: {error}"));
    match error {
        OutError::NotEmpty(_) => Exit::Usage,
        _ => Exit::Folders,
    }
}

/// A layout from its file, or the exit after its mistakes were shown.
pub(super) fn layout(common: &Common, path: &Path) -> Result<Layout, Exit> {
    let loaded: LoadedLayout = load_layout(path);
    let findings = loaded.render(colored(common), say::width());
    if !findings.is_empty() {
        say::error(findings.trim_end());
    }
    loaded.layout.ok_or_else(|| {
        say::error("undim: the layout has mistakes; mend it and look again");
        Exit::Usage
    })
}

/// No site is needed. Of one that is at hand its importers, what they may use and its time zone count:
/// nothing that it declares.
pub(super) fn site_at_hand(common: &Common) -> Result<Site, Exit> {
    let defaults = Site {
        plugins: Vec::new(),
        ..Site::defaults(Path::new(""), &machine_timezone())
    };
    let loaded = match &common.site {
        Some(_) => loaded(common)?,
        None => match here() {
            Some(folder) => load(&folder, &machine_timezone()),
            None => return Ok(defaults),
        },
    };
    match loaded.site {
        Some(site) => Ok(Site {
            plugins: site.plugins,
            importers: site.importers,
            timezone: site.timezone,
            ..defaults
        }),
        None if common.site.is_some() => {
            say::error(&loaded.render(colored(common), say::width()));
            say::error("undim: the configuration has mistakes; mend them, or leave --site out");
            Err(Exit::Usage)
        }
        None => {
            say::error(
                "undim: the site here has mistakes and is not used for this look; `undim check` shows them",
            );
            Ok(defaults)
        }
    }
}

fn here() -> Option<PathBuf> {
    find_site(&std::env::current_dir().ok()?)
}
