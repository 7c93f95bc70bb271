//! A whole site: reads every file, looks up what they say of one another, and gathers every mistake.

use crate::device_file::read_device;
use crate::files::{self, SITE_FILE};
use crate::layout::Layout;
use crate::layout_file::read_layout;
use crate::mention::{Declared, Mention, What};
use crate::mistake::{Mistake, Severity, Sources, render, shown};
use crate::sheet::{Placed, Sheet, whole_file};
use crate::site::{Fingerprints, Site};
use crate::site_file::{SiteFile, read_site_file};
use crate::tank_file::read_tank;
use crate::upkeep_file::read_upkeep;
use crate::words;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// What a load gave.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The site; `None` where any finding is a mistake.
    pub site: Option<Site>,
    /// Every finding: of `undim.toml` first, then by file, each by its place.
    pub mistakes: Vec<Mistake>,
    /// The files that were looked at, relative to the site.
    pub files: Vec<PathBuf>,
    /// Their texts, as far as they could be read.
    pub sources: Sources,
}

impl Loaded {
    /// True where something must be mended.
    pub fn has_mistakes(&self) -> bool {
        self.count(Severity::Mistake) > 0
    }

    /// How many findings are as grave as this.
    pub fn count(&self, severity: Severity) -> usize {
        self.mistakes
            .iter()
            .filter(|mistake| mistake.severity == severity)
            .count()
    }

    /// All findings with the lines they are about; see [`render`].
    pub fn render(&self, color: bool, width: usize) -> String {
        render(&self.mistakes, &self.sources, color, width)
    }
}

/// What loading one layout gave.
#[derive(Debug, Clone)]
pub struct LoadedLayout {
    /// The layout; `None` where any finding is a mistake.
    pub layout: Option<Layout>,
    /// Every finding, by its place.
    pub mistakes: Vec<Mistake>,
    /// The file's text, as far as it could be read.
    pub sources: Sources,
}

impl LoadedLayout {
    /// What an importer says about one value of the layout, by its position in [`Layout::options`], with the line it
    /// stands on; `None` where there is no such value.
    pub fn render_about(&self, option: usize, text: &str, color: bool, width: usize) -> Option<String> {
        let layout = self.layout.as_ref()?;
        let (named, place) = layout.option(option)?;
        let mistake = Mistake {
            file: layout.file.clone(),
            line: place.line,
            column: place.column,
            span: place.span.clone(),
            text: format!("`{}`: {}", shown(&named.path), crate::mistake::escaped(text)),
            found: Some(shown(&named.text)),
            hint: None,
            severity: Severity::Mistake,
        };
        Some(render(&[mistake], &self.sources, color, width))
    }

    /// All findings with the lines they are about; see [`render`].
    pub fn render(&self, color: bool, width: usize) -> String {
        render(&self.mistakes, &self.sources, color, width)
    }
}

/// Reads the site in a folder. `machine_timezone` is the machine's IANA zone, taken where the site states
/// none. Doesn't stop at the first mistake; whatever lies there, it comes back with an answer.
pub fn load(root: &Path, machine_timezone: &str) -> Loaded {
    Reader::new(root).read_all(machine_timezone)
}

/// Reads one layout's file, wherever it lies.
pub fn load_layout(path: &Path) -> LoadedLayout {
    let (sources, mistakes, layout) = match files::read(Path::new(""), path) {
        Ok(read) => {
            let sheet = Sheet::new(path, &read.text);
            let layout = read_layout(&sheet);
            let (path, text, mistakes) = sheet.close();
            (Sources::from([(path, text)]), mistakes, Some(layout))
        }
        Err(mistake) => (Sources::new(), vec![*mistake], None),
    };
    let usable = mistakes
        .iter()
        .all(|mistake| mistake.severity != Severity::Mistake);
    LoadedLayout {
        layout: layout.filter(|_| usable),
        mistakes,
        sources,
    }
}

impl Site {
    /// The site that an empty `undim.toml` in this folder makes, with nothing declared; nothing has to be there.
    /// `machine_timezone` as for [`load`]; one that is not known makes UTC.
    pub fn defaults(root: &Path, machine_timezone: &str) -> Self {
        let (file, _) = read_site_file(&Sheet::new(SITE_FILE, ""), machine_timezone);
        joined(root, file)
    }
}

/// What the site file says, its folders joined to the site's; nothing declared.
fn joined(root: &Path, file: SiteFile) -> Site {
    Site {
        root: root.to_owned(),
        name: file
            .name
            .or_else(|| files::folder_name(root))
            .unwrap_or_else(|| "undim".to_owned()),
        timezone: file.timezone,
        inbox: root.join(file.inbox),
        outbox: root.join(file.outbox),
        state: root.join(file.state),
        plugins: file.plugins.iter().map(|folder| root.join(folder)).collect(),
        intake: file.intake,
        importers: file.importers,
        csv: file.csv,
        routes: file.routes,
        notify: file.notify.into_iter().map(|sink| sink.joined_to(root)).collect(),
        away: file.away,
        tanks: BTreeMap::new(),
        devices: BTreeMap::new(),
        layouts: BTreeMap::new(),
        upkeep: BTreeMap::new(),
        fingerprints: Fingerprints::default(),
    }
}

struct Reader<'r> {
    root: &'r Path,
    /// Mistakes about files as wholes.
    mistakes: Vec<Mistake>,
    files: Vec<PathBuf>,
    sheets: Vec<(Sheet, Vec<Mention>)>,
    fingerprints: Fingerprints,
    whole: blake3::Hasher,
}

impl<'r> Reader<'r> {
    fn new(root: &'r Path) -> Self {
        Self {
            root,
            mistakes: Vec::new(),
            files: Vec::new(),
            sheets: Vec::new(),
            fingerprints: Fingerprints::default(),
            whole: blake3::Hasher::new(),
        }
    }

    fn read_all(mut self, machine_timezone: &str) -> Loaded {
        let mut declared = Declared::default();
        let site_file = self.sheet(Path::new(SITE_FILE)).map(|(sheet, blake3)| {
            self.fingerprints.site = blake3;
            let (file, mentions) = read_site_file(&sheet, machine_timezone);
            self.sheets.push((sheet, mentions));
            file
        });
        for (id, path) in self.list("tanks", "toml", words::check_tank_id) {
            let Some((sheet, blake3)) = self.sheet(&path) else {
                declared.half_read.insert(id);
                continue;
            };
            self.fingerprints.tanks.insert(id.clone(), blake3);
            declared.tanks.insert(id.clone(), read_tank(&sheet, &id));
            if sheet.is_broken() {
                declared.half_read.insert(id);
            }
            self.sheets.push((sheet, Vec::new()));
        }
        for (id, path) in self.list("devices", "toml", words::check_id) {
            if let Some((sheet, blake3)) = self.sheet(&path) {
                self.fingerprints.devices.insert(id.clone(), blake3);
                let (device, mentions) = read_device(&sheet, &id);
                declared.devices.insert(id, device);
                self.sheets.push((sheet, mentions));
            }
        }
        let mut layouts = BTreeMap::new();
        for (id, path) in self.list("layouts", "toml", words::check_id) {
            declared.layouts.insert(id.clone());
            if let Some((sheet, blake3)) = self.sheet(&path) {
                self.fingerprints.layouts.insert(id.clone(), blake3);
                layouts.insert(id, read_layout(&sheet));
                self.sheets.push((sheet, Vec::new()));
            }
        }
        let mut upkeep = BTreeMap::new();
        for (tank, path) in self.list("upkeep", "csv", words::check_tank_id) {
            if let Some((sheet, blake3)) = self.sheet(&path) {
                self.fingerprints.upkeep.insert(tank.clone(), blake3);
                let (list, mut mentions) = read_upkeep(&sheet, &tank);
                let name = Placed {
                    value: tank.clone(),
                    span: 0..0,
                };
                mentions.insert(
                    0,
                    Mention {
                        what: What::Tank,
                        name,
                    },
                );
                upkeep.insert(tank, list);
                self.sheets.push((sheet, mentions));
            }
        }
        for (sheet, mentions) in &self.sheets {
            declared.resolve(sheet, mentions);
        }
        let sources = self.close();
        let mut fingerprints = self.fingerprints;
        fingerprints.whole = self.whole.finalize().to_hex().to_string();
        let usable = self
            .mistakes
            .iter()
            .all(|mistake| mistake.severity != Severity::Mistake);
        let site = site_file.filter(|_| usable).map(|file| Site {
            tanks: declared.tanks,
            devices: declared.devices,
            layouts,
            upkeep,
            fingerprints,
            ..joined(self.root, file)
        });
        Loaded {
            site,
            mistakes: self.mistakes,
            files: self.files,
            sources,
        }
    }

    /// The files of a folder whose stems are ids; the others are mistakes.
    fn list(
        &mut self,
        folder: &str,
        extension: &str,
        check: impl Fn(&str) -> Result<(), String>,
    ) -> Vec<(String, PathBuf)> {
        let mut found = files::list(self.root, folder, extension, &mut self.mistakes);
        found.retain(|(id, path)| match check(id) {
            Ok(()) => true,
            Err(hint) => {
                let text = "this file's name gives no id";
                self.mistakes
                    .push(whole_file(path, text, format!("rename it: {hint}")));
                self.files.push(path.clone());
                false
            }
        });
        found
    }

    fn sheet(&mut self, path: &Path) -> Option<(Sheet, String)> {
        self.files.push(path.to_owned());
        match files::read(self.root, path) {
            Ok(read) => {
                // Path and content both end in something neither can hold, so no two sites read alike.
                self.whole.update(read.path.as_os_str().as_encoded_bytes());
                self.whole.update(b"\0");
                self.whole.update(read.blake3.as_bytes());
                self.whole.update(b"\n");
                Some((Sheet::new(path, &read.text), read.blake3))
            }
            Err(mistake) => {
                self.mistakes.push(*mistake);
                None
            }
        }
    }

    fn close(&mut self) -> Sources {
        let mut sources = Sources::new();
        for (sheet, _) in std::mem::take(&mut self.sheets) {
            let (path, text, mut mistakes) = sheet.close();
            self.mistakes.append(&mut mistakes);
            sources.insert(path, text);
        }
        // Stable: within a file the sheet's own order stays.
        let is_site = |mistake: &Mistake| mistake.file == Path::new(SITE_FILE);
        self.mistakes
            .sort_by(|a, b| (!is_site(a), &a.file).cmp(&(!is_site(b), &b.file)));
        sources
    }
}
